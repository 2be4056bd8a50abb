"""What older papers report: read, and withdrawn with a reason."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import BigIntegerField, F, Q, QuerySet, Value
from django.db.models.functions import Cast

from itm.accounts.actor import Actor
from itm.core.errors import Forbidden, NotFound, Refused
from itm.records.drafts import over
from itm.records.models import (
    InspectionLine,
    PastBundle,
    PastCheckLine,
    PastInspection,
    PastResult,
    PastWithdrawal,
)
from itm.registry.access import works_at
from itm.registry.models import ConcentrateLot, Proportioner, Site, Tank, TankMovement
from itm.schedule.history import ANY_ROW, Asked
from itm.schedule.models.duties import LINKS

Line = PastResult | PastCheckLine | PastInspection
# Each kind as a withdrawal names it.
NAMED: dict[type[Any], str] = {
    PastResult: "result", PastCheckLine: "check_line", PastInspection: "inspection",
}  # fmt: skip
# No earlier day of a test or a sample is believed; own choice, wide enough for the oldest systems.
EARLIEST = date(1940, 1, 1)


def withdraw_bundle(*, actor: Actor, bundle: PastBundle, because: str, at: datetime) -> list[Site]:
    """All of it counts no more; the rows stay. May run twice. The sites whose duties may change.

    Raises Forbidden; Refused reason_missing.
    """
    if bundle.organisation_id != actor.organisation_id:
        raise Forbidden("Only who brought these results in can take them back.")
    held = (
        Q(pk__in=bundle.results.values("proportioner__system__site"))
        | Q(pk__in=bundle.check_lines.values("tank__site"))
        | Q(pk__in=bundle.inspections.values("site"))
    )
    sites = list(Site.objects.filter(held).order_by("pk"))
    for site in sites:
        if not works_at(actor, site):
            raise Forbidden(over(site))
    if not because.strip():
        raise Refused("reason_missing", "Say why these results are taken back.", "because")
    if bundle.withdrawn_at is None:
        bundle.withdrawn_at, bundle.withdrawn_by = at, actor.person
        bundle.withdrawn_because = because.strip()[:200]
        bundle.save(by=actor, verb="withdrawn")
    return sites


def may_withdraw(actor: Actor, line: Line) -> bool:
    """The owner of the site, and who brought it in while it works there."""
    known = actor.organisation_id in (line.bundle.organisation_id, line.site.owner_id)
    return known and works_at(actor, line.site)


def require_may_withdraw(actor: Actor, line: Line) -> None:
    if not may_withdraw(actor, line):
        raise Forbidden(
            "Only the owner of the site, and who brought it in while it is engaged there, can "
            "withdraw it."
        )


def withdraw(*, actor: Actor, line: Line, reason: str, at: datetime) -> PastWithdrawal:
    """One line counts no more and stays. May run twice: the first reason stands.

    Raises Forbidden; Refused reason_missing.
    """
    require_may_withdraw(actor, line)
    of = {NAMED[type(line)]: line}
    there = PastWithdrawal.objects.filter(**of).first()
    if there is not None:
        return there
    if not reason.strip():
        raise Refused("reason_missing", "Say why this does not count.", "reason")
    return PastWithdrawal.objects.create(
        by=actor, at=at, person=actor.person, organisation=actor.organisation_name[:120],
        reason=reason.strip()[:200], **of,
    )  # fmt: skip


# What a person may read ---------------------------------------------------------------------------


def results(actor: Actor) -> QuerySet[PastResult]:
    """In force, those that the person may see, the newest first."""
    rows = PastResult.objects.visible_to(actor).in_force()
    rows = rows.select_related("bundle", "proportioner__system__site")
    return rows.order_by("-tested_on", "-pk")


def of_proportioner(actor: Actor, device: Proportioner) -> list[PastResult]:
    """Oldest first."""
    return list(results(actor).filter(proportioner=device).order_by("tested_on", "phase", "pk"))


def result(actor: Actor, key: UUID) -> PastResult:
    """With what was withdrawn, which says so. Raises NotFound."""
    rows = PastResult.objects.visible_to(actor).select_related(
        "bundle__organisation", "withdrawal", "proportioner__system__site"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("result of older papers", key)
    return row


def check_lines(actor: Actor) -> QuerySet[PastCheckLine]:
    """In force, those that the person may see, the newest first."""
    rows = PastCheckLine.objects.visible_to(actor).in_force().select_related("bundle", "tank__site")
    return rows.order_by("-sampled_on", "-pk")


def of_tank(actor: Actor, tank: Tank) -> list[PastCheckLine]:
    """Oldest first."""
    return list(check_lines(actor).filter(tank=tank).order_by("sampled_on", "pk"))


def of_lot(actor: Actor, lot: ConcentrateLot) -> list[PastCheckLine]:
    """What papers report under the number of this lot, of tanks at sites of its owner or that held
    it by the book: another owner's lot may bear the same number. Oldest first."""
    held = TankMovement.objects.visible_to(actor).in_force().filter(lot=lot).values("tank")
    here = Q(tank__in=held) | Q(tank__site__owner=lot.owner_id)
    rows = check_lines(actor).filter(here, lot__iexact=lot.batch)
    return list(rows.order_by("sampled_on", "pk"))


def check_line(actor: Actor, key: UUID) -> PastCheckLine:
    """With what was withdrawn, which says so. Raises NotFound."""
    rows = PastCheckLine.objects.visible_to(actor).select_related(
        "bundle__organisation", "withdrawal", "tank__site"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("check of older papers", key)
    return row


def beside(actor: Actor, line: PastCheckLine) -> list[PastCheckLine]:
    """What else came in of the same tank and day."""
    rows = check_lines(actor).filter(tank=line.tank, sampled_on=line.sampled_on)
    return list(rows.exclude(pk=line.pk).order_by("pk"))


def inspections(actor: Actor) -> QuerySet[PastInspection]:
    """In force, those that the person may see, the newest first."""
    rows = PastInspection.objects.visible_to(actor).in_force()
    return rows.select_related("bundle", "site", *LINKS).order_by("-done_on", "-pk")


def inspection(actor: Actor, key: UUID) -> PastInspection:
    """With what was withdrawn, which says so. Raises NotFound."""
    rows = PastInspection.objects.visible_to(actor).select_related(
        "bundle__organisation", "withdrawal", "site", "requirement__programme", *LINKS
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("inspection of older papers", key)
    return row


def days_at(sites: Iterable[int]) -> dict[int, dict[Asked, list[date]]]:
    """Days of the tests as found, of the checks and of the tasks of programmes that older papers
    report, by site, in one query.

    A check is taken as done on the day of its sample, as a sealed one is, whatever its paper says.
    """
    held = list(sites)
    out: dict[int, dict[Asked, list[date]]] = {pk: {} for pk in held}
    results = PastResult.objects.in_force().filter(
        proportioner__system__site__in=held, phase=PastResult.Phase.AS_FOUND
    )
    lines = PastCheckLine.objects.in_force().filter(tank__site__in=held)
    tasks = PastInspection.objects.in_force().filter(site__in=held, requirement__isnull=False)
    tasks = tasks.exclude(outcome=InspectionLine.Outcome.NOT_POSSIBLE)
    row = ("requirement__programme__code", "requirement__code")
    # The tasks first: their columns say of which type the empty ones of the others are.
    told = tasks.order_by().values_list("site", "done_on", *row, *LINKS)
    told = told.union(
        _of_any_row(results, "proportioner__system__site", "tested_on", "proportioner"),
        _of_any_row(lines, "tank__site", "sampled_on", "tank"),
    )
    for site, day, programme, code, *links in told:
        named = ((name, pk) for name, pk in zip(LINKS, links, strict=True) if pk is not None)
        hook = next(named, ("", site))
        asked = (programme, code) if programme else ANY_ROW
        out[site].setdefault((hook, asked), []).append(day)
    return out


def _of_any_row(rows: Any, site: str, day: str, link: str) -> Any:
    """As a column of a task is, of papers that name no row of a programme."""
    nothing = Cast(Value(None), BigIntegerField())
    links = [F(name) if name == link else nothing for name in LINKS]
    return rows.order_by().values_list(F(site), F(day), Value(""), Value(""), *links)


def days_of(site: int) -> dict[Asked, list[date]]:
    return days_at([site])[site]


Same = tuple[int, str, date, str]  # proportioner, flow point folded, day, phase


def standing(devices: Iterable[int], days: Iterable[date]) -> dict[Same, Decimal]:
    """What is in force already of these devices between the first and the last of these days."""
    between = sorted(days)
    if not between:
        return {}
    rows = PastResult.objects.in_force().filter(
        proportioner__in=set(devices), tested_on__range=(between[0], between[-1])
    )
    columns = ("proportioner", "flow_point", "tested_on", "phase", "percent")
    return {
        (device, point.casefold(), day, phase): percent
        for device, point, day, phase, percent in rows.order_by().values_list(*columns)
    }


# Tank, point, day, property, who measured it and the laboratory folded.
SameLine = tuple[int, str, date, str, str, str]


def standing_lines(tanks: Iterable[int], days: Iterable[date]) -> dict[SameLine, Decimal | None]:
    """The same of lines of checks."""
    between = sorted(days)
    if not between:
        return {}
    rows = PastCheckLine.objects.in_force().filter(
        tank__in=set(tanks), sampled_on__range=(between[0], between[-1])
    )
    columns = ("tank", "point", "sampled_on", "name", "origin", "laboratory", "value")
    return {
        (tank, point, day, name, origin, laboratory.casefold()): value
        for tank, point, day, name, origin, laboratory, value in rows.order_by().values_list(
            *columns
        )
    }


# Site and links, task folded, day, who did it folded.
SameInspection = tuple[tuple[int | None, ...], str, date | None, str]


def same_inspection(
    place: tuple[int | None, ...], task: str, on: date | None, done_by: str
) -> SameInspection:
    """What tells one from another: `place` is the site and the four links."""
    return place, task.casefold(), on, done_by.casefold()


def standing_inspections(
    sites: Iterable[int], days: Iterable[date]
) -> dict[SameInspection, tuple[str, str]]:
    """Outcome and words of what is in force already of these sites between these days."""
    between = sorted(days)
    if not between:
        return {}
    rows = PastInspection.objects.in_force().filter(
        site__in=set(sites), done_on__range=(between[0], between[-1])
    )
    columns = ("outcome", "words", "task", "done_on", "done_by", "site", *LINKS)
    return {
        same_inspection(tuple(place), task, day, done_by): (outcome, words)
        for outcome, words, task, day, done_by, *place in rows.order_by().values_list(*columns)
    }
