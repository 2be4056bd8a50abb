"""What happened to a proportioner between its tests: what could make a step, what is only told."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from itm.core.clock import date_at
from itm.core.figures import plainly
from itm.records.models import ProportioningTest
from itm.registry.models import ConcentrateLot, Proportioner, TankMovement
from itm.schedule.models import Happening

# Short enough for a plot.
METHODS = {
    "refractive_index": "read by index",
    "brix": "read by Brix",
    "conductivity": "read by conductivity",
    "two_flows": "by two flows",
    "draw_down": "by tank draw-down",
    "weighed": "by weight",
    "other_liquid": "by another liquid",
}
LOT, ADJUSTED, METHOD, CHANGED_OVER = "lot", "adjusted", "method", "changed over"
REPAIR, WATER, NOMINAL, TOPPED_UP = "repair", "water", "nominal", "topped up"
ANEW = frozenset(
    {CHANGED_OVER, NOMINAL}
)  # what was proved before says nothing of what is there now
# Of the contents, from which on another batch of the same product may make a step. Yearly top-ups
# of what tests drew are a few percent, and as regimes of their own they would leave a tank without
# any trend. Own choice.
MUCH = 0.25
HAPPENINGS = {
    Happening.Kind.REPAIR: ("repair", REPAIR),
    Happening.Kind.WATER_SUPPLY: ("other water supply", WATER),
}


@dataclass(frozen=True)
class Event:
    """`words` are short enough for a plot."""

    day: date
    words: str
    detail: str = ""
    kind: str = ""

    @property
    def changes(self) -> bool:
        """Whether results may step here. A corrected record changes no device, nor do other limits
        nor a small top-up with another batch; another meter of the same method shows in the
        interval of each result, and as a regime of its own it would leave a series of yearly hired
        meters without any trend."""
        return bool(self.kind)


@dataclass(frozen=True)
class Filled:
    """A fill of the tank; `over` where the system of the proportioner was changed over by it."""

    movement: TankMovement
    over: bool


def events(
    device: Proportioner,
    tests: Sequence[ProportioningTest],
    fills: Sequence[Filled],
    happened: Sequence[Happening],
) -> list[Event]:
    """All that is on record, each kind in the order of its days; tests as the series joins them."""
    return [
        *of_fills(fills),
        *(Event(one.happened_on, words, one.words, kind)
          for one in happened for words, kind in [HAPPENINGS[Happening.Kind(one.kind)]]),
        *of_tests(tests, device.system.site.time_zone),
    ]  # fmt: skip


def of_fills(fills: Sequence[Filled]) -> list[Event]:
    """Another lot in the tank, and a changeover to another kind of concentrate."""
    out: list[Event] = []
    before: ConcentrateLot | None = None
    for filled in fills:
        on, lot = filled.movement.moved_on, filled.movement.lot
        if lot is None:
            continue
        if filled.over:
            out.append(Event(on, "changeover", f"to {lot}", CHANGED_OVER))
        elif before is not None and lot.pk != before.pk:
            share = share_of(filled.movement)
            other = (lot.product, lot.kind, lot.nominal_percent) != (
                before.product, before.kind, before.nominal_percent
            )  # fmt: skip
            part = "" if share == 1 else f", {100 * share:.0f} % of the tank"
            kind = ""
            if other or share >= MUCH:
                kind = TOPPED_UP if filled.movement.kind == TankMovement.Kind.TOP_UP else LOT
            out.append(Event(on, f"lot {lot.batch}", f"{lot}{part}", kind))
        before = lot
    return out


def share_of(movement: TankMovement) -> float:
    """What went in of what stood there after it, by the book; 1 where that is not known."""
    if movement.kind == TankMovement.Kind.FILL or not movement.volume or not movement.left:
        return 1.0
    return min(1.0, movement.volume / movement.left)


def of_tests(tests: Sequence[ProportioningTest], zone: str) -> list[Event]:
    """Another way of reading, another meter, other limits, an adjustment, a corrected record."""
    out: list[Event] = []
    method = meter = ""
    limits: Any = None
    for test in tests:
        read_by, _, read_with = measured_by(test)
        if method and read_by != method:
            out.append(Event(test.tested_on, METHODS[read_by], read_with, METHOD))
        elif meter and read_with != meter:
            out.append(Event(test.tested_on, "other meter", read_with))
        method, meter = read_by, read_with
        asked = (test.nominal_percent, test.criterion, test.band_lower, test.band_upper)
        if limits is not None and asked[0] != limits[0]:
            now = f"{plainly(float(test.nominal_percent), 6)} % nominal"
            was = f"{plainly(float(limits[0]), 6)} % before"
            out.append(Event(test.tested_on, now, was, NOMINAL))
        elif limits is not None and asked != limits:
            ends = f"{plainly(float(test.band_lower), 6)} to {plainly(float(test.band_upper), 6)} %"
            out.append(Event(test.tested_on, "other limits", ends))
        limits = asked
        if test.phase == ProportioningTest.Phase.AS_LEFT:
            out.append(Event(test.tested_on, "adjusted", test.adjusted, ADJUSTED))
        if test.amends_id is not None and test.sealed_at is not None:
            corrected_on = date_at(zone, test.sealed_at)
            out.append(Event(corrected_on, "record corrected", test.amendment_reason))
    return out


def measured_by(test: ProportioningTest) -> tuple[str, str, str]:
    """The method as a mark of a series knows it, in words, and with what."""
    if test.bench is not None:
        meter = test.bench.instrument
        return meter.method, meter.get_method_display(), str(meter)
    setup = test.direct
    meters = [setup.concentrate_meter or setup.concentrate_fitted]
    meters.append(setup.second_meter or setup.second_fitted)
    named = ", ".join(dict.fromkeys(str(meter) for meter in meters if meter))
    return test.method, test.get_method_display(), named
