"""Past results that are possible and odd, told before they are taken in.

Asked in the look alone, from what it judged anyway, so that taking in pays nothing for it.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from calc.units import FLOW
from itm.core.figures import day
from itm.intake.tables.cells import place
from itm.records.past_storing import RESULTS
from itm.registry.models import Proportioner

# Own choices: what lies beyond them is likelier a slip of sign, unit or column than a result.
PERCENT_TIMES = 2  # of the nominal percent, above or below
FLOW_TIMES = 2  # of the flow of its point
MOST = 30  # that are listed; the others are counted
AT = [
    RESULTS.brought.index(name)
    for name in ("proportioner_id", "flow_point", "row", "percent", "flow", "flow_typed",
                 "tested_on")
]  # fmt: skip
Key = tuple[str, int, str]  # what is odd, device, flow point


class Expected(NamedTuple):
    """What nobody asks about at one flow point; flows in m³/s, of each point of that name."""

    device: Proportioner
    lowest: Decimal
    highest: Decimal
    flows: list[tuple[float, float]]
    since: date


class OddResults:
    """Gathers what is odd, one line for each flow point and way of being odd."""

    def __init__(self, devices: Iterable[Proportioner], columns: Mapping[str, int]) -> None:
        self._columns = columns
        self._devices = {one.pk: one for one in devices}
        self._expected: dict[tuple[int, str], Expected | None] = {}
        self._found: dict[Key, tuple[str, str, int]] = {}  # place of the first, sentence, how many

    def watch(self, brought: Sequence[Sequence[Any]]) -> None:
        """One batch as it was judged, in the order of `RESULTS.brought`."""
        expected = self._expected
        for pk, name, row, percent, flow, typed, on in zip(
            *(brought[at] for at in AT), strict=True
        ):
            if (pk, name) not in expected:
                expected[pk, name] = self._of(pk, name)
            if (here := expected[pk, name]) is None:
                continue  # told as wrong
            if percent is not None and not here.lowest <= percent <= here.highest:
                self._add(("percent", pk, name), row, _percent(here.device, name, percent))
            if flow is not None and not any(low <= flow <= high for low, high in here.flows):
                self._add(("flow", pk, name), row, _flow(here.device, name, flow, typed))
            if on is not None and on < here.since:
                sentence = (
                    f"{here.device.tag} was tested on {day(on)}, and its system was commissioned "
                    f"on {day(here.since)}: is the day right, or was it another device?"
                )
                self._add(("tested_on", pk, name), row, sentence)

    def _of(self, pk: int, name: str) -> Expected | None:
        if (device := self._devices.get(pk)) is None:
            return None
        nominal = device.nominal_percent
        # A name may be of two flow points, of which one is retired: either may be meant.
        flows = [
            (one.flow / FLOW_TIMES, one.flow * FLOW_TIMES)
            for one in device.flow_points.all()
            if one.name == name
        ]
        since = device.system.commissioned_on
        return Expected(device, nominal / PERCENT_TIMES, nominal * PERCENT_TIMES, flows, since)

    def _add(self, key: Key, row: int, sentence: str) -> None:
        there, first, count = self._found.get(key, (place(row, self._columns[key[0]]), sentence, 0))
        self._found[key] = (there, first, count + 1)

    @property
    def asked(self) -> list[dict[str, str]]:
        out = [
            {"place": there, "sentence": sentence + (f" So in {count} rows." if count > 1 else "")}
            for there, sentence, count in list(self._found.values())[:MOST]
        ]
        if (more := len(self._found) - MOST) > 0:
            rows = sum(count for _, _, count in list(self._found.values())[MOST:])
            what = f"{more} more flow points or devices are odd likewise, in {rows} rows."
            out.append({"place": "Further down", "sentence": what})
        return out


def _percent(device: Proportioner, point: str, percent: Decimal) -> str:
    words = f"{percent.normalize():f} % at {point} of {device.tag}"
    nominal = f"{device.nominal_percent.normalize():f} %"
    if percent == 0:
        return f"{words}, whose nominal is {nominal}: was nothing proportioned, or not measured?"
    return f"{words}, whose nominal is {nominal}: is the figure right, and its decimal sign?"


def _flow(device: Proportioner, name: str, flow: float, typed: str) -> str:
    minutes = f"{flow / FLOW['L/min']:.4g}"
    said = typed if typed and not typed[-1].isdigit() else f"{minutes} L/min"
    own = " or ".join(one.flow_typed for one in device.flow_points.all() if one.name == name)
    return (
        f"{said} at {name} of {device.tag}, which is tested at {own}: are the figure, its unit "
        "and the flow point right?"
    )
