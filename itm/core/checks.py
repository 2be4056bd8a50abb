"""The project's promises as system checks: they run before the server starts."""

from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning
from django.db import DatabaseError, connections

from itm.core import triggers
from itm.core.history import Tracked, TrackedQuerySet

# Models that no person's scope reaches, each with the reason.
UNSCOPED = {
    "core.Change": "read through the object it belongs to",
    "core.Fold": "digests over the history of all",
    "core.Job": "promised work of the server itself",
    "core.Installation": "says what kind of installation this database is",
    "accounts.User": "a person is read through memberships",
    "accounts.Organisation": "the root of ownership itself",
    "accounts.RecoveryCode": "read through the second step of its own person",
    "accounts.SecondFactor": "read by its own person, and by the door",
    "accounts.SignedIn": "a session, read by its own person",
    "accounts.Try": "counted by the door alone",
    "accounts.Membership": "read through its organisation at sign-in",
    "findings.NoticeClock": "clocks are public rules, not anybody's data",
    "retention.KeepingRule": "how long records are kept are public rules, not anybody's data",
    "schedule.Programme": "programmes are public rules, not anybody's data",
    "notices.Gathering": "says up to when the history was read for news",
    "notices.Wish": "a person's own choice, read through the membership that acts",
    "schedule.Requirement": "a row of a programme",
    "intake.Receipt": "read by intake.once alone, within the organisation that asks again",
}


def every_model_says_how_it_hangs(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Each model names the way to who may see it: `site_path`, `owner_path`, or `part_of` a model
    through which alone it is read."""
    out: list[CheckMessage] = []
    for model in apps.get_models():
        label = model._meta.label
        if not model.__module__.startswith("itm.") or label in UNSCOPED:
            continue
        if not any(hasattr(model, way) for way in ("site_path", "owner_path", "part_of")):
            out.append(
                Error(
                    f"{label} does not say how it hangs on a site or an organisation.",
                    hint="Set site_path, owner_path or part_of, or list it in UNSCOPED there.",
                    obj=model,
                    id="itm.E001",
                )
            )
    return out


def every_tracked_model_refuses_bypasses(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """A tracked model whose manager is a plain one would let update() pass by the history."""
    return [
        Error(
            f"{model._meta.label} is tracked, but its manager is not.",
            hint="objects = TrackedQuerySet.as_manager(), or a queryset that inherits from it.",
            obj=model,
            id="itm.E003",
        )
        for model in apps.get_models()
        if issubclass(model, Tracked)
        and not isinstance(model._default_manager.all(), TrackedQuerySet)
    ]


def triggers_are_laid(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """Every trigger that guards sealed rows and history is as laid; a rebuild drops them silently.

    A warning, because an error would stop the very migrate that lays them. What serves pages is not
    ready without them: `/readyz` says so.
    """
    out: list[CheckMessage] = []
    for alias in databases or []:
        try:
            faults = triggers.faults(connections[alias])
        except DatabaseError:
            continue  # no database yet: migrate lays them
        out += [
            Warning(
                f"In the database, the guard {name} {what}.",
                hint="Run manage.py migrate: it lays all guards again. What is none of them stays: "
                "ask who laid it.",
                id="itm.W002",
            )
            for name, what in faults.items()
        ]
    return out


LOCAL_CACHES = ("locmem.LocMemCache", "dummy.DummyCache")


def several_processes_share_a_cache(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """What is counted in the memory of one process (requests of programs, copies of reports, two of
    the same thing at one moment) would be counted by each for itself. Asked by `check --deploy`."""
    backend = settings.CACHES["default"]["BACKEND"]
    several = settings.OUTBOX_NUDGE == "celery" or settings.WEB_PROCESSES > 1
    if not several or not backend.endswith(LOCAL_CACHES):
        return []
    return [
        Warning(
            "Several processes serve, and each has a cache of its own: a program could ask so many "
            "times as often as API_REQUESTS_A_MINUTE says.",
            hint="Set CACHE_URL to one that they share, such as redis://127.0.0.1:6379/1.",
            id="itm.W001",
        )
    ]
