"""What a person may read of concentrate checks, their bottles and papers."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.db.models import Case, DateField, F, Prefetch, Q, QuerySet, When

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.records.drafts import LATE
from itm.records.finding import DATE, DIGEST_BEGINS
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    LaboratoryReport,
    Record,
    SampleValue,
    Visit,
)
from itm.records.models.kept import LINKS
from itm.records.results import with_corrections
from itm.registry import queries as registry
from itm.registry.access import worked_at
from itm.registry.finding import Wanted, arranged, matching
from itm.registry.models import Site, Tank

MOST_POINTS = 8  # bottles of one check that are told of
CHECK_COLUMNS = ("site__name", "tank__tag", "organisation__name", "samples__label")
SAMPLE_COLUMNS = (
    "label", "laboratory", "consignment", "concentrate_check__tank__tag",
    "concentrate_check__site__name",
)  # fmt: skip
SORTS: dict[str, Any] = {
    "checked_on": "checked_on",
    "site": "site__name",
    "tank": "tank__tag",
    "limits": "limits",
}
NARROWS = {"site": "site__key", "tank": "tank__key", "limits": "limits", "state": "state"}
SAMPLE_SORTS: dict[str, Any] = {
    "label": "label",
    "taken": "taken_at",
    "sent": "sent_on",
    "laboratory": "laboratory",
    "site": "concentrate_check__site__name",
}


def checks(actor: Actor) -> QuerySet[ConcentrateCheck]:
    rows = ConcentrateCheck.objects.visible_to(actor)
    return rows.select_related("site__owner", "tank", "organisation")


def check(actor: Actor, key: UUID) -> ConcentrateCheck:
    """With its bottles and what was measured of them."""
    samples = ConcentrateSample.objects.select_related("report").prefetch_related("values")
    rows = checks(actor).prefetch_related(
        Prefetch("samples", samples.order_by("taken_at", "pk")), "laboratory_reports"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("concentrate check", key)
    return row


def checks_beside(actor: Actor, visit: Visit) -> list[ConcentrateCheck]:
    """Of the visit's crew at its site: drafts, and what was sampled on the visit's day."""
    state = ConcentrateCheck.State
    of_the_day = Q(state=state.DRAFT) | Q(checked_on=visit.planned_on)
    rows = checks(actor).filter(of_the_day, site=visit.site_id, organisation=visit.contractor_id)
    samples = ConcentrateSample.objects.prefetch_related("values").order_by("taken_at", "pk")
    rows = rows.exclude(state=state.ABANDONED).prefetch_related(
        Prefetch("samples", samples), "laboratory_reports"
    )
    return list(rows.order_by("checked_on", "pk"))


def usual_points(check: ConcentrateCheck) -> tuple[str, ...]:
    return points_of(check.tank, circulated=check.circulated)


def points_of(tank: Tank, *, circulated: bool) -> tuple[str, ...]:
    """Where bottles of this tank are usually filled. Common practice, no published source."""
    point = ConcentrateSample.Point
    if circulated:
        return (point.RECIRCULATED,)
    if tank.kind == Tank.Kind.BLADDER:
        return (point.OUTLET,)
    return (point.TOP, point.MIDDLE, point.BOTTOM)


def record_by_key(key: UUID) -> Record | None:
    """Of whatever kind, for work that the product itself promised."""
    for model in LINKS:
        rows: Any = model.objects
        if (found := rows.filter(key=key).first()) is not None:
            record: Record = found
            return record
    return None


def checks_of(actor: Actor, tank: Tank) -> list[ConcentrateCheck]:
    """Newest first; what was given up is not among them."""
    rows = checks(actor).filter(tank=tank).exclude(state=ConcentrateCheck.State.ABANDONED)
    return list(with_corrections(rows).order_by("-checked_on", "-pk"))


def newest_of(actor: Actor, tank: Tank, name: str) -> list[SampleValue]:
    """A property as the tank's newest check that has it found it, one value a bottle."""
    values = SampleValue.objects.filter(
        sample__in=ConcentrateSample.objects.visible_to(actor),
        sample__concentrate_check__tank=tank,
        sample__withdrawn_reason="",
        name=name,
        set_aside_at=None,
    ).exclude(sample__concentrate_check__state=ConcentrateCheck.State.ABANDONED)
    rows = values.select_related("sample__concentrate_check").order_by(
        "-sample__concentrate_check__checked_on", "-sample__concentrate_check__pk", "pk"
    )
    found = list(rows[:MOST_POINTS])
    return [
        v for v in found if v.sample.concentrate_check_id == found[0].sample.concentrate_check_id
    ]


def checks_among(actor: Actor, keys: Iterable[UUID]) -> set[UUID]:
    """Those of the keys that are checks, where a key may be of another kind of record."""
    return set(checks(actor).filter(key__in=set(keys)).values_list("key", flat=True))


def listed_checks(actor: Actor, wanted: Wanted) -> QuerySet[ConcentrateCheck]:
    """Newest day first, unless another order is asked for."""
    rows = matching(checks(actor), wanted.find, CHECK_COLUMNS, check_fits).distinct()
    rows = with_corrections(rows)
    asked = replace(wanted, find="", sort=wanted.sort or "-checked_on")
    return arranged(rows, asked, find_in=(), sorts=SORTS, narrows=NARROWS, retirable=False)


def check_fits(term: str) -> Q:
    """Also by its day, its month, its year, its number or its digest."""
    match = Q()
    if DIGEST_BEGINS.fullmatch(term.lower()):
        match |= Q(seal__digest__startswith=term.lower())
    if (given := DATE.fullmatch(term)) is not None:
        parts = zip(("year", "month", "day"), given.groups(), strict=True)
        match |= Q(**{f"checked_on__{name}": int(part) for name, part in parts if part})
    if term.isascii() and term.isdecimal() and len(term) < 7:
        match |= Q(seal__number=int(term))
    return match


def samples(actor: Actor) -> QuerySet[ConcentrateSample]:
    rows = ConcentrateSample.objects.visible_to(actor)
    return rows.select_related("concentrate_check__tank", "concentrate_check__site", "report")


def sample(actor: Actor, key: UUID) -> ConcentrateSample:
    row = samples(actor).prefetch_related("values").filter(key=key).first()
    if row is None:
        raise NotFound("bottle", key)
    return row


UNDER_WAY = Q(sent_on__isnull=False, report=None, withdrawn_reason="") & Q(
    concentrate_check__state=ConcentrateCheck.State.DRAFT
)
AT_HAND = Q(sent_on=None, report=None, withdrawn_reason="") & Q(
    concentrate_check__state=ConcentrateCheck.State.DRAFT
)
WAYS = (
    ("under_way", "under way to a laboratory"),
    ("at_hand", "not sent, check not handed in"),
    ("answered", "answered by a laboratory"),
)
WAY_QUERIES = {
    "under_way": UNDER_WAY,
    "at_hand": AT_HAND,
    "answered": Q(report__isnull=False, withdrawn_reason=""),
}


def listed_samples(actor: Actor, wanted: Wanted) -> QuerySet[ConcentrateSample]:
    """Those under way longest first: what was sent away and not answered is what gets lost. The
    copies that an amendment makes of a bottle are the same bottle."""
    rows = samples(actor).filter(copied=False)
    narrow = dict(wanted.narrow)
    if way := narrow.pop("way", ""):
        rows = rows.filter(WAY_QUERIES[way])
    if site := narrow.pop("site", ""):
        rows = rows.filter(concentrate_check__site__key=site)
    asked = replace(wanted, narrow={})
    found = arranged(
        rows, asked, find_in=SAMPLE_COLUMNS, sorts=SAMPLE_SORTS, narrows={}, retirable=False
    )
    if wanted.sort:
        return found
    away = Case(When(UNDER_WAY, then=F("sent_on")), output_field=DateField())
    return found.order_by(away.asc(nulls_last=True), "-taken_at", "pk")


def value(actor: Actor, key: UUID) -> SampleValue:
    rows = SampleValue.objects.filter(sample__in=ConcentrateSample.objects.visible_to(actor))
    row = rows.select_related("sample__concentrate_check__site").filter(key=key).first()
    if row is None:
        raise NotFound("value", key)
    return row


def laboratory_report(actor: Actor, key: UUID) -> LaboratoryReport:
    rows = LaboratoryReport.objects.visible_to(actor)
    row = rows.select_related("concentrate_check__site").filter(key=key).first()
    if row is None:
        raise NotFound("laboratory report", key)
    return row


def tanks_at(actor: Actor, site: Site) -> list[Tank]:
    rows = Tank.objects.visible_to(actor).filter(site=site, retired_on=None)
    return list(rows.order_by("tag"))


def latest_codes(actor: Actor, tank: Tank) -> list[str]:
    """Programmes that the latest check of the tank was held against, to begin the next with."""
    return codes_by_tank(actor, [tank]).get(tank.pk, [])


def codes_by_tank(actor: Actor, tanks: Iterable[Tank]) -> dict[int, list[str]]:
    """The same of many tanks, in one query."""
    rows = checks(actor).filter(tank__in=[tank.pk for tank in tanks])
    return {row.tank_id: row.programmes for row in rows.order_by("checked_on", "pk")}


def tank_to_begin(actor: Actor, key: UUID) -> Tank:
    """A tank that the actor sees, or saw until some days ago: what a device began there while its
    crew was engaged may come in late. Raises NotFound."""
    try:
        return registry.tank(actor, key)
    except NotFound:
        row = Tank.objects.filter(key=key).select_related("site__owner").first()
        if row is None:
            raise
        today = actor.date_at(row.site.time_zone)
        if not worked_at(actor, row.site, today - LATE, today):
            raise
        return row
