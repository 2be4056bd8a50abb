"""A person decides about files past their period: kept on, or let go after a month of waiting.

What goes are the bytes of stored files and nothing else: no row, no seal, no digest. Until the
month is over the decision can be taken back; then the clock carries it out, and asks of each file
once more whether it may go.
"""

import logging
from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Case, CharField, F, Q, QuerySet, Value, When

from itm.accounts import proving
from itm.accounts.actor import Actor, system
from itm.core.clock import date_at
from itm.core.errors import Conflict, NotFound, Refused
from itm.core.figures import day
from itm.records.models import LaboratoryReport
from itm.registry.models import Attachment, Site
from itm.registry.services import keep
from itm.retention.gathering import Stored, gather
from itm.retention.models import DecidedFile, Decision
from itm.retention.periods import Freedom, free_with
from itm.retention.setting import periods_at, require_keeper

WAITS = timedelta(days=30)  # own choice: a holiday long, so that one who was away can still object
MOST = 500  # files in one decision
LONGEST = timedelta(days=36525)  # a day further than that is a slip
Verb = Decision.Verb
log = logging.getLogger(__name__)


@transaction.atomic
def decide(
    *, actor: Actor, site: Site, kind: str, verb: str, keys: Collection[UUID], reason: str,
    at: datetime, until: date | None = None,
) -> Decision:  # fmt: skip
    """About these files of one kind, by a person who proved just now who it is.

    Raises Forbidden, NotFound; Refused proof_needed, nothing_chosen, too_many, why_missing,
    no_day, day_over, day_too_far, not_free.
    """
    require_keeper(actor, site)
    if not keys:
        raise Refused("nothing_chosen", "Choose at least one file.", "keys")
    if len(keys) > MOST:
        raise Refused("too_many", f"These are {len(keys)} files; {MOST} go at once.", "keys")
    if not reason.strip():
        raise Refused("why_missing", "Say why.", "reason")
    proving.require(actor)
    Site.objects.select_for_update().get(pk=site.pk)
    today = date_at(site.time_zone, at)
    if verb == Verb.KEEP:
        _require_day(until, today)
    found = {one.row.key: (one, free) for one, free in past(site, today) if one.kind == kind}
    chosen: list[tuple[Stored, Freedom]] = []
    for key in dict.fromkeys(keys):
        if key not in found:
            raise Refused(
                "not_free",
                "One of the files is not past its period any more, or somebody has decided about "
                "it a moment before. Look at the list again.",
                "keys",
            )
        chosen.append(found[key])
    labels = dict.fromkeys(free.period.label for _, free in chosen if free.period is not None)
    row = Decision(
        site=site, kind=kind, verb=verb, reason=reason.strip(), under="; ".join(labels)[:600],
        until=until if verb == Verb.KEEP else None, decided_by=actor.person, decided_at=at,
        goes_at=at + WAITS if verb == Verb.LET_GO else None,
    )  # fmt: skip
    keep(row, {}, by=actor, verb="decided")
    for one, free in chosen:
        for file in one.rows:
            column = "attachment" if isinstance(file, Attachment) else "laboratory_report"
            DecidedFile.objects.create(
                by=actor, decision=row, name=file.name, of=one.of, size=file.size,
                sha256=file.sha256, free_from=free.day, **{column: file},
            )  # fmt: skip
    return row


def _require_day(until: date | None, today: date) -> None:
    if until is None:
        raise Refused("no_day", "Say until which day they are kept on.", "until")
    if until <= today:
        raise Refused("day_over", f"{day(until)} is no day to come.", "until")
    if until - today > LONGEST:
        raise Refused("day_too_far", "Choose a day within a hundred years.", "until")


def past(site: Site, today: date) -> list[tuple[Stored, Freedom]]:
    """Files of the site that may be decided about today. For code that holds it by right."""
    periods = periods_at([site.pk])[site.pk]
    out = []
    for one in gather([site])[site.pk].files:
        freedom = free_with(periods, one.things)
        if freedom.by(today) and not one.holds(today):
            out.append((one, freedom))
    return out


@transaction.atomic
def take_back(*, actor: Actor, row: Decision, at: datetime) -> Decision:
    """While it waits; a decision to keep at any time. May run twice. Raises Forbidden, Conflict."""
    require_keeper(actor, row.site)
    row = Decision.objects.select_for_update().get(pk=row.pk)
    if row.taken_back_at is not None:
        return row
    if not may_be_taken_back(row, at):
        raise Conflict("Its waiting time is over: what was let go cannot be brought back.")
    row.taken_back_at, row.taken_back_by = at, actor.person
    row.save(by=actor, verb="taken back")
    return row


# By the clock -------------------------------------------------------------------------------------


def due(now: datetime) -> QuerySet[Decision]:
    """Whose waiting is over; what was decided before the site came here in an archive stays
    undone, as in `gathering.FROM_ELSEWHERE`."""
    rows = Decision.objects.filter(
        verb=Verb.LET_GO, taken_back_at=None, done_at=None, goes_at__lte=now
    )
    return rows.exclude(site__brought_in__brought_at__gt=F("decided_at"))


def carry_out(now: datetime) -> None:
    """May run at any time, twice and beside itself. One that fails keeps no other from going."""
    for pk in due(now).order_by("goes_at", "pk").values_list("pk", flat=True):
        try:
            _carry_out(pk, now)
        except OSError:
            log.exception("letting_go_failed", extra={"decision": pk})


@transaction.atomic
def _carry_out(pk: int, now: datetime) -> None:
    """The bytes first and the line after them in one transaction: who is killed in between leaves
    a decision that is still due, and the next run finds less to do."""
    row = due(now).select_for_update(of=("self",)).filter(pk=pk).first()
    if row is None:
        return
    by = system(now.date(), via="sweep", at=now)
    site = Site.objects.select_for_update().get(pk=row.site_id)
    today = date_at(site.time_zone, now)
    periods = periods_at([site.pk])[site.pk]
    stored = {held.key: one for one in gather([site])[site.pk].files for held in one.rows}
    files = list(row.files.select_related("attachment", "laboratory_report"))
    decided = {file.row.key for file in files}
    for file in files:
        one = stored.get(file.row.key)
        if why := _stays(one, free_with(periods, one.things) if one else None, decided, today):
            file.stayed_why = why
            file.save(by=by, verb="stayed")
        else:
            _let_go(row, file, by, now)
    row.done_at = now
    row.save(by=by, verb="carried out", text=f"decided by {row.decided_by}")


def _stays(
    one: Stored | None, freedom: Freedom | None, decided: Collection[UUID], today: date
) -> str:
    """Why it must not go today after all; empty where it may."""
    if one is None or freedom is None:
        return "it is not where it was, or went by another decision"
    if any(row.key not in decided for row in one.rows):
        return "a record that nobody decided about names it since"
    if not freedom.by(today):
        told = freedom.why or f"a period that holds now ends later, on {day(freedom.day)}"
        return f"it is no longer past its period: {told}"
    return one.held


def _let_go(row: Decision, file: DecidedFile, by: Actor, now: datetime) -> None:
    stored = file.row
    for name in filter(None, (stored.file.name, _preview(stored))):
        default_storage.delete(name)
    file.gone_at = now
    file.save(by=by, verb="let go", text=f"decided by {row.decided_by}: {row.reason}")
    if file.attachment is not None:
        file.attachment.let_go = words(row, now)
        file.attachment.save(by=by, verb="let go", text=f"decided by {row.decided_by}")


def words(row: Decision, gone_at: datetime) -> str:
    """What stands wherever the file stood."""
    on = day(date_at(row.site.time_zone, gone_at))
    return f"let go on {on} by {row.decided_by} under {row.under}"[:400]


# For pages ----------------------------------------------------------------------------------------


GOES = Q(verb=Verb.LET_GO, taken_back_at=None, done_at=None)
# Where a decision stands; the first that fits. As in `gathering.FROM_ELSEWHERE`, what was decided
# before the site came here in an archive is not carried out here.
STANDS = {
    "taken_back": ~Q(taken_back_at=None),
    "kept_on": Q(verb=Verb.KEEP),
    "done": ~Q(done_at=None),
    "not_here": GOES & Q(site__brought_in__brought_at__gt=F("decided_at")),
    "waits": GOES,
}


def all_decisions(actor: Actor) -> QuerySet[Any]:
    """Each with where it `stands`."""
    rows = Decision.objects.visible_to(actor).select_related("site__owner")
    whens = [When(fits, then=Value(name)) for name, fits in STANDS.items()]
    return rows.annotate(stands=Case(*whens, output_field=CharField()))


def became(row: Decision, file: DecidedFile) -> str:
    """Of one file of a decision: gone, stays, kept_on or waits."""
    if file.gone_at is not None:
        return "gone"
    if file.stayed_why or row.taken_back_at is not None:
        return "stays"
    return "kept_on" if row.until else "waits"


def decision(actor: Actor, key: UUID) -> Any:
    row = all_decisions(actor).filter(key=key).first()
    if row is None:
        raise NotFound("decision", key)
    require_keeper(actor, row.site)
    return row


def may_be_taken_back(row: Decision, now: datetime) -> bool:
    if row.taken_back_at is not None or row.done_at is not None:
        return False
    return row.goes_at is None or now < row.goes_at


def decisions(actor: Actor, site: Site) -> list[Decision]:
    """The newest first. Raises Forbidden."""
    require_keeper(actor, site)
    return list(all_decisions(actor).filter(site=site).prefetch_related("files"))


def gone_papers(checks: Collection[int]) -> dict[str, str]:
    """Of checks that the caller holds by right: papers that were let go by key, with the words."""
    rows = DecidedFile.objects.filter(
        ~Q(gone_at=None), laboratory_report__concentrate_check__in=checks
    ).select_related("decision__site", "laboratory_report")
    return {
        str(one.row.key): words(one.decision, one.gone_at)
        for one in rows
        if one.gone_at is not None
    }


def gone_words(row: Any) -> str:
    """Of one stored file that the caller holds by right; empty while it is there."""
    if isinstance(row, Attachment):
        return row.let_go
    return gone_papers([row.concentrate_check_id]).get(str(row.key), "")


def gone_names(site: Site) -> set[str]:
    """What the store called the files of this site that were let go, and no row names any more."""
    rows = DecidedFile.objects.filter(~Q(gone_at=None), decision__site=site.pk)
    out: set[str] = set()
    for one in rows.select_related("attachment", "laboratory_report"):
        out |= {name for name in (one.row.file.name, _preview(one.row)) if name}
    gone = rows.exclude(laboratory_report=None).values("laboratory_report")
    others = LaboratoryReport.objects.filter(file__in=out).exclude(pk__in=gone)
    return out - {str(name) for name in others.values_list("file", flat=True)}


def _preview(row: Any) -> str:
    return row.preview.name or "" if isinstance(row, Attachment) else ""
