"""What was measured of concentrate over the years: of a tank one series a property and point, of a
lot one a property and point of each tank in which it stands alone."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise, product
from math import inf, isfinite
from typing import Any
from uuid import UUID

from calc import trend as engine
from calc.acceptance import IN_BAND, LEAN, RICH, Band
from calc.discovery import adjusted
from calc.kendall import LEVEL
from calc.properties import ABOVE, BELOW
from itm.accounts.actor import Actor
from itm.core.figures import MINUS, chance, plainly
from itm.records import past
from itm.records.evaluate_check import elsewhere
from itm.records.models import ConcentrateCheck, ConcentrateSample, PastCheckLine, SampleValue
from itm.records.results import checks_in_force
from itm.registry.models import ConcentrateLot, Tank, TankMovement
from itm.registry.properties import PROPERTIES, Property, bounds
from itm.trends.events import METHOD, Event, Filled, of_fills
from itm.trends.statement import TURNS, Voice, baseline_words, moment, sentences_of

Ends = tuple[Decimal | None, Decimal | None]
Where = tuple[str, int, str]  # property, tank, point


@dataclass(frozen=True)
class Measured:
    """One value in force of one sealed check. `side` is in band, lean or rich, as plots name it;
    `ends` are the tightest limits that the check froze; `by` is the laboratory where one is named.
    """

    checked_on: date
    value: float
    typed: str
    temperature: str
    side: str
    check: UUID
    laboratory: bool
    ends: Ends
    method: str
    by: str

    @property
    def held(self) -> bool:
        """Against any limit."""
        return any(end is not None for end in self.ends)


@dataclass(frozen=True)
class PropertySeries:
    """One property at one point of the tank, oldest first."""

    known: Property
    point: str
    points: tuple[Measured, ...]
    changes: tuple[Event, ...]  # of this series alone: who measured, by what, other limits
    ends: Ends  # the tightest limits that the latest check froze; open where there is none
    start: tuple[date, float] | None  # what the certificates gave when the latest check was begun
    reported: tuple[PastCheckLine, ...] = ()  # by older papers; no points of the series nor trend

    @property
    def drawn(self) -> tuple[tuple[date, float], ...]:
        """What papers report and can stand in the picture: read where something is known of it."""
        return tuple(
            (line.sampled_on, float(line.value))
            for line in self.reported
            if line.value is not None and not elsewhere(line)
        )

    @property
    def name(self) -> str:
        return f"{self.known.heading}, {self.point}"

    @property
    def limits(self) -> str:
        """Of the latest check."""
        return limits_in_words(self.ends, self.known)

    @property
    def band(self) -> tuple[float, float] | None:
        return reach_of(self.ends)

    @property
    def bands(self) -> tuple[tuple[date | None, float, float], ...]:
        """The limits of each time, as plots take them. Before the first check there were none that
        anybody noted, so the earliest reach back."""
        out: list[tuple[date | None, float, float]] = []
        held: Ends | None = None
        for one in self.points:
            if one.ends != held:
                low, high = reach_of(one.ends) or (inf, inf)
                out.append((one.checked_on if out else None, low, high))
            held = one.ends
        return tuple(out) if any(isfinite(low) or isfinite(high) for _, low, high in out) else ()


@dataclass(frozen=True)
class ConcentrateSeries:
    series: tuple[PropertySeries, ...]
    events: tuple[Event, ...]
    left_out: int  # values that were read where nothing is known of them
    count: int  # sealed checks in force
    papers: int = 0  # lines that older papers report
    whole: tuple[PastCheckLine, ...] = ()  # those of them that are of no property


def tank_series(actor: Actor, tank: Tank) -> ConcentrateSeries:
    """Everything that sealed checks in force say of a tank, and beside it what older papers report,
    in a fixed number of queries."""
    rows = ConcentrateCheck.objects.visible_to(actor).filter(tank=tank)
    papers = past.of_tank(actor, tank)
    checks = list(checks_in_force(rows).select_related("tank"))
    return _gathered(checks, papers, _events(actor, tank), lambda tank, point: point)


def lot_series(actor: Actor, lot: ConcentrateLot) -> ConcentrateSeries:
    """What they say of a lot, in a fixed number of queries: by the checks of tanks in which nothing
    else stood by the book, and by papers that name it. A mixture says nothing of one of its lots.
    """
    held = TankMovement.objects.visible_to(actor).in_force().filter(lot=lot)
    rows = ConcentrateCheck.objects.visible_to(actor).filter(tank__in=held.values("tank"))
    alone = [
        check
        for check in checks_in_force(rows).select_related("tank__site")
        if [one["key"] for one in check.basis.get("lots", [])] == [str(lot.key)]
    ]
    papers = past.of_lot(actor, lot)
    sites = {tank.site_id for tank in _tanks(alone, papers).values()}

    def place(tank: Tank, point: str) -> str:
        site = f"{tank.site}, " if len(sites) > 1 else ""
        return f"{site}{tank.tag}, {point}"

    return _gathered(alone, papers, [], place)


def _gathered(
    found: Sequence[ConcentrateCheck], papers: Sequence[PastCheckLine], events: Sequence[Event],
    place: Callable[[Tank, str], str],
) -> ConcentrateSeries:  # fmt: skip
    """`found` in the order of the work, `papers` in that of the samples; `place` names a point of a
    tank."""
    checks = {check.pk: check for check in found}
    held: dict[Where, list[Measured]] = defaultdict(list)
    reported: dict[Where, list[PastCheckLine]] = defaultdict(list)
    for line in papers:
        reported[line.name, line.tank_id, line.point].append(line)
    left_out = 0
    for value in _values(checks):
        if elsewhere(value):
            left_out += 1
            continue
        check = checks[value.sample.concentrate_check_id]
        where = (value.name, check.tank_id, value.sample.point)
        held[where].append(_measured(value, check))
    return ConcentrateSeries(
        series=tuple(_series(found, papers, held, reported, place)),
        events=tuple(events),
        left_out=left_out,
        count=len(checks),
        papers=len(papers),
        whole=tuple(line for line in papers if not line.name),
    )


def _values(checks: dict[int, ConcentrateCheck]) -> Sequence[SampleValue]:
    rows = SampleValue.objects.filter(
        sample__concentrate_check__in=list(checks), sample__withdrawn_reason="", set_aside_at=None
    )
    rows = rows.select_related("sample", "sample__concentrate_check")
    return list(rows.order_by("sample__concentrate_check__checked_on", "pk"))


def _measured(value: SampleValue, check: ConcentrateCheck) -> Measured:
    ends = low, high = ends_of(check, value.name)
    side = IN_BAND
    if low is not None and value.value < low:
        side = LEAN
    elif high is not None and value.value > high:
        side = RICH
    return Measured(
        checked_on=check.checked_on,
        value=float(value.value),
        typed=value.value_typed,
        temperature=value.temperature_typed,
        side=side,
        check=check.key,
        laboratory=value.origin == SampleValue.Origin.LABORATORY,
        ends=ends,
        method=value.method,
        by=value.sample.laboratory,
    )


def reach_of(ends: Ends) -> tuple[float, float] | None:
    """From limit to limit, infinite where a side has none; None where neither has."""
    low, high = ends
    if low is None and high is None:
        return None
    return -inf if low is None else float(low), inf if high is None else float(high)


def limits_in_words(ends: Ends, known: Property) -> str:
    low, high = (None if end is None else f"{end.normalize():f}" for end in ends)
    return bounds(low, high, known) if low or high else ""


def changes_of(points: Sequence[Measured], known: Property) -> tuple[Event, ...]:
    """What may move a series besides the liquid. Crew and laboratory may read apart, so the series
    may step where the one follows the other for good; one that goes to and fro has no before and
    after. By what it was measured is told alone, as another meter is of a proportioner."""
    turns = [one for one, two in pairwise(points) if one.laboratory != two.laboratory]
    kind = METHOD if len(turns) == 1 else ""
    out = []
    for one, two in pairwise(points):
        on = two.checked_on
        if one.laboratory != two.laboratory:
            words = "by a laboratory" if two.laboratory else "by the crew"
            out.append(Event(on, words, ", ".join(filter(None, (two.by, two.method))), kind))
        elif two.laboratory and differ(one.by, two.by):
            out.append(Event(on, "other laboratory", two.by))
        elif differ(one.method, two.method):
            out.append(Event(on, "other method", two.method))
        if one.ends != two.ends:
            said = limits_in_words(two.ends, known) or "none"
            out.append(Event(on, "other limits", said))
    return tuple(out)


def differ(one: str, two: str) -> bool:
    """Both are noted, and not alike."""
    return bool(one and two) and one.split() != two.split()


def ends_of(check: ConcentrateCheck, name: str) -> Ends:
    """The tightest of all limits that the check froze for a property."""
    rows = [one for one in check.criteria if one["property"] == name]
    lows = [Decimal(one["lowest"]) for one in rows if one["lowest"] is not None]
    highs = [Decimal(one["highest"]) for one in rows if one["highest"] is not None]
    return max(lows, default=None), min(highs, default=None)


def _series(
    found: Sequence[ConcentrateCheck], papers: Sequence[PastCheckLine],
    held: Mapping[Where, Sequence[Measured]], reported: Mapping[Where, Sequence[PastCheckLine]],
    place: Callable[[Tank, str], str],
) -> Iterator[PropertySeries]:  # fmt: skip
    """By property, tank and point, each as the lists of them have it."""
    latest = {check.tank_id: check for check in found}
    first: dict[int, date] = {}
    for check in found:
        first.setdefault(check.tank_id, check.checked_on)
    tanks = _tanks(found, papers)
    points = [*ConcentrateSample.Point.choices, ("", "point not reported")]
    for (name, known), pk, (point, words) in product(PROPERTIES.items(), tanks, points):
        measured = tuple(held.get((name, pk, point), ()))
        told = tuple(reported.get((name, pk, point), ()))
        if not measured and not told:
            continue
        newest = latest.get(pk) if measured else None
        start = None if newest is None else _certificate(newest, name)
        yield PropertySeries(
            known=known,
            point=place(tanks[pk], words),
            points=measured,
            changes=changes_of(measured, known),
            ends=(None, None) if newest is None else ends_of(newest, name),
            start=None if start is None else (first[pk], start),
            reported=told,
        )


def _tanks(
    checks: Sequence[ConcentrateCheck], papers: Sequence[PastCheckLine]
) -> dict[int, Tank]:  # fmt: skip
    """In the order in which they are met."""
    return {check.tank_id: check.tank for check in checks} | {
        line.tank_id: line.tank for line in papers
    }


def _certificate(check: ConcentrateCheck, name: str) -> float | None:
    """What the certificates give: of one lot its value, of several their mixture where it mixes."""
    lots: list[dict[str, Any]] = check.basis.get("lots", [])
    told = [str(lot[name]) for lot in lots if lot.get(name)]
    if not told or len(told) < len(lots) or (len(lots) > 1 and not PROPERTIES[name].mixes):
        return None
    volumes = [float(lot["volume_l"]) for lot in lots]
    return sum(v * float(value) for v, value in zip(volumes, told, strict=True)) / sum(volumes)


def _events(actor: Actor, tank: Tank) -> list[Event]:
    """Another lot in the tank may make a step."""
    fills = TankMovement.objects.visible_to(actor).in_force().filter(tank=tank, lot__isnull=False)
    return of_fills([Filled(fill, over=False) for fill in fills.select_related("lot")])


def statements(tank: ConcentrateSeries) -> list[tuple[str, ...]]:
    """Of each series what the years say, in the words of every trend. Where several were looked at,
    each trend that is shown also says how often chance gives one among so many."""
    trends = [_found(series, tank.events) if series.points else None for series in tank.series]
    each = {at: _chance(found) for at, found in enumerate(trends) if found is not None}
    chances = {at: p for at, p in each.items() if p is not None}
    raised = dict(zip(chances, adjusted(list(chances.values())), strict=True))
    out: list[tuple[str, ...]] = []
    for at, (series, found) in enumerate(zip(tank.series, trends, strict=True)):
        if found is None:  # papers alone
            out.append(())
            continue
        voice, events = _voice(series), [*tank.events, *series.changes]
        said = sentences_of(
            found, [one for one in events if one.changes], baseline_words(found, voice), voice
        )
        if at in raised and len(raised) > 1 and found.present and found.present.statement in TURNS:
            said.append(among_words(len(raised), raised[at]))
        out.append(tuple(said))
    return out


def _found(series: PropertySeries, events: Sequence[Event]) -> engine.Trend:
    band = series.band
    return engine.trend(
        [engine.Point(float(one.checked_on.toordinal()), one.value) for one in series.points],
        [
            engine.Event(moment(event), event.words)
            for event in (*events, *series.changes)
            if event.changes
        ],
        (series.start[1], None) if series.start else None,
        Band(*(Decimal(repr(end)) for end in band)) if band else None,
    )


def _chance(found: engine.Trend) -> float | None:
    """That an order like this one comes by chance; None where no trend was looked for."""
    drift = found.present
    if drift is None or drift.test is None or drift.statement == engine.TOO_FEW:
        return None
    return drift.test.p


def among_words(count: int, raised: float) -> str:
    said = (
        f"It is one of {count} series here in which a trend was looked for. Among so many, "
        f"chance alone gives such an order in {chance(raised, 0.05)} of 100"
    )
    return f"{said}." if raised <= LEVEL else f"{said}: more often than 5, so a hint and no more."


def _voice(series: PropertySeries) -> Voice:
    known = series.known
    return Voice(
        subject=f"The {known.words}",
        difference=lambda value: known.shown(_signed(value)),
        end=_signed,
        gap=lambda value: known.shown(plainly(value, 2)),
        value=lambda value: known.shown(plainly(value, 6)),
        start="the certificate",
        sides={BELOW: "below its limits", ABOVE: "above its limits"},
        band="its limits" if series.band else "",
    )


def _signed(value: float) -> str:
    if value == 0:
        return "0"
    return f"{MINUS if value < 0 else '+'}{plainly(abs(value), 2)}"
