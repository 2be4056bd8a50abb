"""Many proportioners side by side: which drift most, by type, age, concentrate and contractor."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import floor
from statistics import median
from typing import Any

from dateutil.relativedelta import relativedelta
from django.db.models import OuterRef, QuerySet, Subquery

from calc import trend as engine
from calc.acceptance import IN_BAND
from calc.discovery import adjusted
from calc.kendall import LEVEL
from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.figures import plainly
from itm.records.models import LatestRecord, ProportioningTest
from itm.registry.models import ConcentrateLot, Proportioner, TankMovement
from itm.trends.devices import proportioners
from itm.trends.kept import Kept, kept_of
from itm.trends.latest import State
from itm.trends.queries import FlowPointSeries, Point, history_of
from itm.trends.statement import found_in, is_first
from itm.trends.wrong_systems import NONE, Open, in_words, open_at_devices

MOST = 500  # devices on one page: more are narrowed, because each brings its whole history
# Years since the system was commissioned: from, below. Own choice.
AGES: dict[str, tuple[str, int, int]] = {
    "0-5": ("under 5 years", 0, 5),
    "5-10": ("5 to 10 years", 5, 10),
    "10-20": ("10 to 20 years", 10, 20),
    "20-": ("20 years and more", 20, 1000),
}
KINDS = tuple(Proportioner.Kind.choices)
CONCENTRATES = tuple(ConcentrateLot.Kind.choices)
NOT_NOTED = "not noted"


@dataclass(frozen=True)
class Asked:
    """What narrows the page; an empty one narrows nothing."""

    find: str = ""
    kind: str = ""
    concentrate: str = ""
    contractor: str = ""
    age: str = ""


@dataclass(frozen=True)
class Row:
    """One flow point of one proportioner, and what its years say. Percents by volume, a year."""

    proportioner: Proportioner
    flow_point: str
    latest: Point
    concentrate: str
    age: str
    results: int  # days measured since the latest event that may have moved it
    statement: str  # of calc.trend: too few results | not shown | rising | falling
    slope: float | None
    low: float | None
    high: float | None
    chance: float | None  # that an order of its results like this one comes by chance
    apart: float | None  # latest result less that of the acceptance test, points
    earliest: date | None  # of leaving the band, at the steepest slope of the interval
    wrong: Open = NONE  # open deficiencies at the device, its tank and its system
    among_all: float | None = None  # the chance, raised by how many were looked at

    @property
    def wrong_words(self) -> str:
        return in_words(self.wrong)

    @property
    def contractor(self) -> str:
        return self.latest.record.contractor

    @property
    def kind(self) -> str:
        return self.proportioner.get_kind_display()

    @property
    def turns(self) -> bool:
        return self.statement in (engine.RISING, engine.FALLING)

    @property
    def stands_out(self) -> bool:
        """Also among all that were looked at."""
        return self.turns and self.among_all is not None and self.among_all <= LEVEL

    @property
    def pace(self) -> float | None:
        """Widths of the band in a year, so that 1 % and 6 % compare."""
        lower, upper = self.latest.band
        return None if self.slope is None else abs(self.slope) / (upper - lower)


@dataclass(frozen=True)
class Group:
    """Rows that have one thing alike. `slope` is the middle one of those that have five results."""

    name: str
    rows: int
    judged: int
    falling: int
    rising: int
    outside: int
    slope: float | None


@dataclass(frozen=True)
class Comparison:
    rows: tuple[Row, ...]
    untested: int  # proportioners without a sealed result in force
    beyond: bool  # there are more than were compared

    @property
    def judged(self) -> int:
        return sum(row.chance is not None for row in self.rows)

    @property
    def turning(self) -> int:
        return sum(row.turns for row in self.rows)

    @property
    def standing_out(self) -> int:
        return sum(row.stands_out for row in self.rows)


ORDERS: dict[str, tuple[str, Callable[[Row], Any]]] = {
    "drift": (
        "what drifts most",
        lambda row: (not row.stands_out, not row.turns, row.chance is None, -(row.pace or 0)),
    ),
    "leaving": ("what leaves its band first", lambda row: row.earliest or date.max),
    "baseline": ("what lies farthest from its acceptance test", lambda row: -abs(row.apart or 0)),
    "place": ("site and tag", lambda row: 0),
}
BY: dict[str, tuple[str, Callable[[Row], str]]] = {
    "kind": ("type", lambda row: row.kind),
    "age": ("age of the system", lambda row: row.age),
    "concentrate": ("concentrate", lambda row: row.concentrate),
    "contractor": ("contractor of the latest test", lambda row: row.contractor),
}


def side_by_side(actor: Actor, asked: Asked, order: str = "drift") -> Comparison:
    """All flow points of what the actor sees and asked for; the number of queries does not grow."""
    found = list(narrowed(actor, asked)[: MOST + 1])
    devices = found[:MOST]
    kept = kept_of(actor, devices)
    wrong = open_at_devices(devices)
    rows = [
        replace(row, wrong=wrong[device.pk])
        for device in devices
        for row in rows_of(device, kept, actor.today)
    ]
    judged = [row.chance for row in rows if row.chance is not None]
    raised = iter(adjusted(judged))
    rows = [row if row.chance is None else replace(row, among_all=next(raised)) for row in rows]
    rows.sort(key=ORDERS[order][1])
    tested = {row.proportioner.pk for row in rows}
    return Comparison(tuple(rows), len(devices) - len(tested), len(found) > MOST)


def narrowed(actor: Actor, asked: Asked) -> QuerySet[Proportioner]:
    rows = proportioners(actor)
    if asked.find:
        rows = rows.filter(system__site__name__icontains=asked.find)
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    if asked.concentrate:
        fills = TankMovement.objects.filter(
            tank=OuterRef("tank"), withdrawn_at=None, lot__isnull=False
        ).order_by("-moved_on", "-position", "-pk")
        rows = rows.alias(holds=Subquery(fills.values("lot__kind")[:1]))
        rows = rows.filter(holds=asked.concentrate)
    if asked.contractor:
        rows = rows.filter(latest__test__visit__contractor__key=asked.contractor)
    if asked.age:
        _, least, below = AGES[asked.age]
        oldest = actor.today - relativedelta(years=below)
        rows = rows.filter(
            system__commissioned_on__lte=actor.today - relativedelta(years=least),
            system__commissioned_on__gt=oldest,
        )
    return rows


def contractors(actor: Actor) -> list[tuple[str, str]]:
    """Who made a latest record that the actor may read."""
    seen = ProportioningTest.objects.visible_to(actor).filter(state=State.SEALED)
    made = LatestRecord.objects.filter(test__in=seen).values("test__visit__contractor")
    rows = Organisation.objects.filter(pk__in=made).order_by("name", "pk")
    return [(str(key), name) for key, name in rows.values_list("key", "name")]


def rows_of(device: Proportioner, kept: Kept, today: date) -> list[Row]:
    told = history_of(device, kept)
    fills = kept.fills[device.tank_id]
    lot = fills[-1].lot if fills else None
    concentrate = (
        f"{lot.get_kind_display()} {plainly(float(lot.nominal_percent), 4)} %" if lot else NOT_NOTED
    )
    changes = [event for event in told.events if event.changes]
    return [
        row_of(device, series, found_in(series, changes), concentrate, today)
        for series in told.flow_points
        if series.points
    ]


def row_of(
    device: Proportioner,
    series: FlowPointSeries,
    found: engine.Trend,
    concentrate: str,
    today: date,
) -> Row:
    drift, start = found.present, series.baseline
    enough = drift is not None and drift.statement != engine.TOO_FEW
    slope = drift.slope if drift is not None and enough else None
    test = drift.test if drift is not None and enough else None
    days = [one.earliest_day for one in found.leaving if one.earliest_day is not None]
    apart = found.baseline if start is not None and not is_first(series, start) else None
    return Row(
        proportioner=device,
        flow_point=series.name,
        latest=series.points[-1],
        concentrate=concentrate,
        age=age_of(device, today),
        results=drift.count if drift is not None else 0,
        statement=drift.statement if drift is not None else engine.TOO_FEW,
        slope=slope.slope if slope else None,
        low=slope.low if slope else None,
        high=slope.high if slope else None,
        chance=test.p if test else None,
        apart=apart.difference if apart else None,
        earliest=date.fromordinal(floor(min(days))) if days and enough else None,
    )


def age_of(device: Proportioner, today: date) -> str:
    years = relativedelta(today, device.system.commissioned_on).years
    return next(words for words, least, below in AGES.values() if least <= max(years, 0) < below)


def groups(rows: Sequence[Row], by: str) -> list[Group]:
    """The most rows first; a group of one tells no more than its row and still stands there."""
    named: dict[str, list[Row]] = {}
    for row in rows:
        named.setdefault(BY[by][1](row), []).append(row)
    found = [group(name, own) for name, own in named.items()]
    return sorted(found, key=lambda one: (-one.rows, one.name))


def group(name: str, rows: Sequence[Row]) -> Group:
    slopes = [row.slope for row in rows if row.slope is not None]
    return Group(
        name=name,
        rows=len(rows),
        judged=len(slopes),
        falling=sum(row.statement == engine.FALLING for row in rows),
        rising=sum(row.statement == engine.RISING for row in rows),
        outside=sum(row.latest.result.limits != IN_BAND for row in rows),
        slope=median(slopes) if slopes else None,
    )
