"""An authority notes a visit of its own, which is no test day; it corrects its note by another."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Count, OuterRef, QuerySet, Subquery

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.valid import require_valid
from itm.core.withdrawing import struck
from itm.findings.models import AuthorityFile, AuthorityVisit
from itm.registry import attaching
from itm.registry.access import require_authority
from itm.registry.attaching import Upload
from itm.registry.files import inspect
from itm.registry.finding import Wanted, matching, one
from itm.registry.models import Site, SiteAuthority

NARROWS = {"site": "site__key", "since": "visited_on__gte", "until": "visited_on__lte"}

# Read ---------------------------------------------------------------------------------------------


def all_visits(actor: Actor) -> QuerySet[Any]:
    rows = AuthorityVisit.objects.visible_to(actor)
    rows = rows.select_related("site__owner", "organisation", "replaces", "replaced_by")
    return rows.annotate(ordered=Count("orders", distinct=True))


def visits(actor: Actor, wanted: Wanted) -> QuerySet[Any]:
    """The newest first; withdrawn ones stay to be read."""
    rows = all_visits(actor)
    narrow = dict(wanted.narrow)
    if stands := narrow.pop("stands", ""):
        rows = rows.filter(withdrawn_at__isnull=stands == "standing")
    rows = rows.filter(**{NARROWS[name]: value for name, value in narrow.items()})
    find_in = ("present", "looked_at", "site__name", "organisation__name", "noted_by")
    return matching(rows, wanted.find, find_in).order_by("-visited_on", "-pk")


def visit(actor: Actor, key: UUID) -> Any:
    return one(all_visits(actor), "visit of an authority", key)


def with_last_visit(actor: Actor, rows: QuerySet[Any]) -> QuerySet[Any]:
    """Authorities of a site, each with `last_visit` and `last_visit_on`, in the same query. A
    contractor sees none."""
    seen = AuthorityVisit.objects.visible_to(actor).filter(
        site=OuterRef("site"), organisation=OuterRef("organisation"), withdrawn_at=None
    )  # fmt: skip
    last = seen.order_by("-visited_on", "-pk")
    return rows.annotate(
        last_visit=Subquery(last.values("key")[:1]),
        last_visit_on=Subquery(last.values("visited_on")[:1]),
    )


def files_of(actor: Actor, row: AuthorityVisit) -> list[AuthorityFile]:
    return list(AuthorityFile.objects.visible_to(actor).filter(visit=row).order_by("pk"))


def file(actor: Actor, key: UUID) -> AuthorityFile:
    rows = AuthorityFile.objects.visible_to(actor).select_related("visit__site")
    return one(rows.select_related("visit__organisation"), "file", key)


def file_to_serve(actor: Actor, key: UUID) -> AuthorityFile:
    """Raises NotFound also for one that was withdrawn."""
    row = file(actor, key)
    if row.withdrawn_at is not None:
        raise NotFound("file", key)
    return row


def may_note(actor: Actor, site: Site) -> bool:
    if actor.kind != "authority" or site.retired_on is not None:
        return False
    rows = SiteAuthority.objects.today(actor).filter(site=site)
    return rows.filter(organisation=actor.organisation_id).exists()


# Write --------------------------------------------------------------------------------------------


@transaction.atomic
def note_visit(
    *, actor: Actor, site: Site, visited_on: date, present: str, looked_at: str, at: datetime,
    uploads: Sequence[Upload] = (), caption: str = "",
) -> AuthorityVisit:  # fmt: skip
    """Raises Forbidden; Refused day_ahead, present_missing, looked_at_missing, too_many,
    already_there and what `files.inspect` refuses."""
    require_authority(actor, site)
    row = AuthorityVisit(site=site, organisation=actor.organisation)
    _write(actor, row, visited_on, present, looked_at, at)
    _attach(actor, row, uploads, caption)
    return row


@transaction.atomic
def correct_visit(
    *, actor: Actor, visit: AuthorityVisit, because: str, visited_on: date, present: str,
    looked_at: str, at: datetime, uploads: Sequence[Upload] = (), caption: str = "",
) -> AuthorityVisit:  # fmt: skip
    """The right note takes the place of the wrong one, both at once, and its files go along.

    Raises what `note_visit` and `withdraw_visit` raise, but for the oversight, which may be over.
    """
    old = withdraw_visit(actor=actor, visit=visit, because=because, at=at)
    row = AuthorityVisit(site=old.site, organisation=old.organisation, replaces=old)
    _write(actor, row, visited_on, present, looked_at, at)
    for held in old.files.filter(withdrawn_at=None).order_by("pk"):
        same = ("name", "caption", "content_type", "size", "sha256", "file", "preview")
        copy = AuthorityFile(visit=row, **{name: getattr(held, name) for name in same})
        copy.save(by=actor, verb="attached")
    _attach(actor, row, uploads, caption)
    return row


@transaction.atomic
def withdraw_visit(
    *, actor: Actor, visit: AuthorityVisit, because: str, at: datetime
) -> AuthorityVisit:
    """It stays to be read with the reason. Raises Forbidden; Refused because_missing; Conflict
    when it was withdrawn already."""
    require_maker(actor, visit)
    rows = AuthorityVisit.objects.select_for_update(of=("self",))
    locked = rows.select_related("organisation", "site").get(pk=visit.pk)
    return struck(locked, because, by=actor, at=at)


@transaction.atomic
def withdraw_file(*, actor: Actor, row: AuthorityFile, because: str, at: datetime) -> AuthorityFile:
    """Its bytes stay and nobody is shown them, on no note that has them. Raises as `withdraw_visit`
    does."""
    require_maker(actor, row.visit)
    rows = AuthorityFile.objects.select_for_update(of=("self",))
    done = struck(rows.get(pk=row.pk), because, by=actor, at=at)
    for same in rows.filter(file=row.file.name, withdrawn_at=None).order_by("pk"):
        struck(same, because, by=actor, at=at)
    return done


def require_maker(actor: Actor, visit: AuthorityVisit) -> None:
    if visit.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {visit.organisation}, who noted it, can correct or withdraw it.")


def _write(
    actor: Actor, row: AuthorityVisit, on: date, present: str, looked_at: str, at: datetime
) -> None:
    if on > date_at(row.site.time_zone, at):
        raise Refused("day_ahead", "This day has not come yet.", "visited_on")
    if not present.strip():
        raise Refused("present_missing", "Say who was there, by name.", "present")
    if not looked_at.strip():
        raise Refused("looked_at_missing", "Say what was looked at and seen.", "looked_at")
    row.visited_on, row.present, row.looked_at = on, present.strip(), looked_at.strip()
    row.noted_at, row.noted_by = at, actor.person
    require_valid(row)
    row.save(by=actor, verb="noted")


def _attach(actor: Actor, row: AuthorityVisit, uploads: Sequence[Upload], caption: str) -> None:
    """All of them or none."""
    if len(uploads) > attaching.MOST:
        raise Refused(
            "too_many", f"These are {len(uploads)} files; {attaching.MOST} go at once.", "chosen"
        )
    stored: list[AuthorityFile] = []
    try:
        for upload in uploads:
            found = inspect(upload.file, upload.name)
            if row.files.filter(sha256=found.sha256, withdrawn_at=None).exists():
                raise Refused("already_there", f"“{found.name}” is already here.", "chosen")
            made = AuthorityFile(
                visit=row, name=found.name, caption=caption.strip(), size=found.size,
                content_type=found.content_type, sha256=found.sha256,
            )  # fmt: skip
            attaching.store(made, upload, found, partial(made.save, by=actor, verb="attached"))
            stored.append(made)
    except BaseException:
        for made in stored:  # the rows go with the transaction; the files would stay
            attaching.drop_files(made)
        raise
