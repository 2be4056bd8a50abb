"""What was measured of a tank over the years: one series a property and point of the tank."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from calc import trend as engine
from calc.acceptance import IN_BAND, LEAN, RICH, Band
from calc.properties import ABOVE, BELOW
from itm.accounts.actor import Actor
from itm.core.figures import MINUS, plainly
from itm.records.evaluate_check import elsewhere
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue
from itm.records.results import checks_in_force
from itm.registry.models import Tank, TankMovement
from itm.registry.properties import PROPERTIES, Property, bounds
from itm.trends.events import Event, Filled, of_fills
from itm.trends.statement import Voice, baseline_words, moment, sentences_of

Ends = tuple[Decimal | None, Decimal | None]


@dataclass(frozen=True)
class Measured:
    """One value in force of one sealed check. `side` is in band, lean or rich, as plots name it."""

    checked_on: date
    value: float
    typed: str
    temperature: str
    side: str
    check: UUID
    laboratory: bool


@dataclass(frozen=True)
class PropertySeries:
    """One property at one point of the tank, oldest first."""

    known: Property
    point: str
    points: tuple[Measured, ...]
    ends: Ends  # the tightest limits that the latest check froze; open where there is none
    start: tuple[date, float] | None  # what the certificates gave when the latest check was begun

    @property
    def name(self) -> str:
        return f"{self.known.heading}, {self.point}"

    @property
    def limits(self) -> str:
        low, high = (None if end is None else f"{end.normalize():f}" for end in self.ends)
        return bounds(low, high, self.known) if low or high else ""

    @property
    def band(self) -> tuple[float, float] | None:
        """Where both ends are known: a plot and a forecast need both."""
        low, high = self.ends
        return None if low is None or high is None else (float(low), float(high))


@dataclass(frozen=True)
class TankSeries:
    series: tuple[PropertySeries, ...]
    events: tuple[Event, ...]
    left_out: int  # values that were read where nothing is known of them
    count: int  # sealed checks in force


def tank_series(actor: Actor, tank: Tank) -> TankSeries:
    """Everything that sealed checks in force say of a tank, in a fixed number of queries."""
    rows = ConcentrateCheck.objects.visible_to(actor).filter(tank=tank)
    checks = {check.pk: check for check in checks_in_force(rows)}
    held: dict[tuple[str, str], list[Measured]] = defaultdict(list)
    left_out = 0
    for value in _values(checks):
        if elsewhere(value):
            left_out += 1
            continue
        check = checks[value.sample.concentrate_check_id]
        held[value.name, value.sample.point].append(_measured(value, check))
    latest = next(reversed(checks.values()), None)
    return TankSeries(
        series=tuple(_series(latest, held, checks)) if latest else (),
        events=tuple(_events(actor, tank)),
        left_out=left_out,
        count=len(checks),
    )


def _values(checks: dict[int, ConcentrateCheck]) -> Sequence[SampleValue]:
    rows = SampleValue.objects.filter(
        sample__concentrate_check__in=list(checks), sample__withdrawn_reason="", set_aside_at=None
    )
    rows = rows.select_related("sample", "sample__concentrate_check")
    return list(rows.order_by("sample__concentrate_check__checked_on", "pk"))


def _measured(value: SampleValue, check: ConcentrateCheck) -> Measured:
    low, high = ends_of(check, value.name)
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
    )


def ends_of(check: ConcentrateCheck, name: str) -> Ends:
    """The tightest of all limits that the check froze for a property."""
    rows = [one for one in check.criteria if one["property"] == name]
    lows = [Decimal(one["lowest"]) for one in rows if one["lowest"] is not None]
    highs = [Decimal(one["highest"]) for one in rows if one["highest"] is not None]
    return max(lows, default=None), min(highs, default=None)


def _series(
    latest: ConcentrateCheck, held: dict[tuple[str, str], list[Measured]],
    checks: dict[int, ConcentrateCheck],
) -> list[PropertySeries]:  # fmt: skip
    points = dict(ConcentrateSample.Point.choices)
    first = min(check.checked_on for check in checks.values())
    out = []
    for name, known in PROPERTIES.items():
        for point in points:
            if (name, point) not in held:
                continue
            start = _certificate(latest, name)
            out.append(
                PropertySeries(
                    known=known,
                    point=points[point],
                    points=tuple(held[name, point]),
                    ends=ends_of(latest, name),
                    start=None if start is None else (first, start),
                )
            )
    return out


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


def statement(series: PropertySeries, events: Sequence[Event]) -> tuple[str, ...]:
    """What the years say of one property, in the words of every trend."""
    band = series.band
    found = engine.trend(
        [engine.Point(float(one.checked_on.toordinal()), one.value) for one in series.points],
        [engine.Event(moment(event), event.words) for event in events],
        (series.start[1], None) if series.start else None,
        Band(*(Decimal(repr(end)) for end in band)) if band else None,
    )
    voice = _voice(series)
    return tuple(sentences_of(found, events, baseline_words(found, voice), voice))


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
