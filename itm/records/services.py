"""Writes of the visit itself: the plan, the people told.

The rest of a test day stands beside it: `preparing`, `discharge`, `restoration`.
"""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from itm.accounts.actor import Actor, require_kind
from itm.core.errors import Refused
from itm.core.figures import day
from itm.records import merge
from itm.records.drafts import State, locked_visit, new_key, require_crew, require_open_visit
from itm.records.hands import whose
from itm.records.models import DirectRun, FlowRun, FlushStep, Notice, Visit
from itm.registry.access import works_at
from itm.registry.models import Site


@transaction.atomic
def plan_visit(
    *, actor: Actor, site: Site, planned_on: date, crew: str = "", effluent_plan: str = "",
    key: uuid.UUID | None = None,
) -> Visit:  # fmt: skip
    """A contractor plans a test day at a site where it is engaged today.

    Raises Forbidden; Refused no_grant, site_retired, key_used.
    """
    require_kind(actor, "contractor", what="plan a visit")
    if not works_at(actor, site):
        raise Refused(
            "no_grant",
            f"{actor.organisation_name} is not engaged at {site} today; "
            "the owner of the site can hand it over for a period.",
            "site",
        )
    if site.retired_on is not None and site.retired_on <= planned_on:
        raise Refused("site_retired", f"{site} is retired since {day(site.retired_on)}.", "site")
    return Visit.objects.create(
        by=actor, key=new_key(Visit, key), site=site, contractor=actor.organisation,
        planned_on=planned_on,
        crew=crew.strip(), effluent_plan=effluent_plan.strip(),
    )  # fmt: skip


@transaction.atomic
def change_visit(
    *, actor: Actor, visit: Visit, opened: Mapping[str, str] | None = None, **entered: Any
) -> Visit:
    """Change planned_on, crew, effluent_plan, ambient_c (a Quantity in °C), weather, coordinator.

    `opened` holds what the form showed for each field. Raises Forbidden; Refused not_draft,
    air_temperature; Conflict.
    """
    row = locked_visit(actor, visit)
    require_open_visit(row)
    ambient = entered.get("ambient_c")
    if ambient is not None and (not -60 <= ambient.si <= 60 or len(ambient.typed) > 20):
        raise Refused(
            "air_temperature",
            f"{ambient.typed} is no air temperature a crew works in: it lies between "
            "-60 and 60 °C (-76 and 140 °F).",
            "ambient_c",
        )
    merge.put(row, entered, opened)
    row.save(by=actor)
    return row


@transaction.atomic
def take_back_start(*, actor: Actor, visit: Visit, seen: Mapping[str, str] | None = None) -> Visit:
    """The test day was started by mistake and no valve has moved. May run twice.

    The history keeps the start: owner and authority may have seen it. `seen` is the start that the
    person saw. Raises Forbidden; Refused begun; Crossed.
    """
    row = locked_visit(actor, visit)
    if row.started_at is None:
        return row
    merge.require_seen(row, seen, "started_at")
    if begun(row):
        raise Refused(
            "begun",
            "Something was noted since the start, so the system was out of service: end the "
            "restoration list instead.",
        )
    row.started_at, row.started_by, row.impairment_reason = None, "", ""
    row.save(by=actor, verb="taken back", text="Started by mistake.")
    for test in row.tests.filter(state=State.DRAFT):
        test.tested_on = row.planned_on
        test.save(by=actor)
    return row


# Of a direct test, what nobody can read before it has flowed. A level, weight or totaliser before
# the run is no sign of that, and a flow from the nameplate was not read at all.
AFTER_IT_FLOWED = ("duration", "level_after", "mass_after", "concentrate_end", "second_end")
WHILE_IT_FLOWED = ("concentrate", "second")


def begun(visit: Visit) -> bool:
    """Whether anything was noted that happens only once a valve has moved."""
    return (
        FlowRun.objects.filter(test__visit=visit)
        .filter(Q(foam_seen_at__isnull=False) | Q(bottles__isnull=False) | _measured())
        .exists()
        or FlushStep.objects.filter(test__visit=visit, done_at__isnull=False).exists()
        or visit.restoration_lines.exclude(outcome="").exists()
    )


def _measured() -> Q:
    """What a direct test read at a flow point, as a condition on its run."""
    out = Q()
    for name in AFTER_IT_FLOWED:
        out |= Q(**{f"direct__{name}__isnull": False})
    for name in WHILE_IT_FLOWED:
        nameplate = Q(**{f"direct__{name}_source": DirectRun.Source.NAMEPLATE})
        out |= Q(**{f"direct__{name}_flow__isnull": False}) & ~nameplate
    return out


def add_notice(
    *, actor: Actor, visit: Visit, told: str, told_at: datetime, how: str = "", reference: str = "",
    key: uuid.UUID | None = None, by: str = "",
) -> Notice:  # fmt: skip
    """Somebody was told. The one who enters it is the one who told, unless a paper names another.

    Raises Forbidden; Refused told_missing, not_draft, key_used, by_long.
    """
    require_crew(actor, visit)
    if not told.strip():
        raise Refused("told_missing", "Say who was told.", "told")
    with transaction.atomic():
        require_open_visit(locked_visit(actor, visit))
        return Notice.objects.create(
            by=actor, key=new_key(Notice, key), visit=visit, told=told.strip(),
            told_by=whose(actor, by), how=how.strip(), reference=reference.strip(), told_at=told_at,
        )  # fmt: skip
