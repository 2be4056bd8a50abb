"""How long the concentrate lasts at the measured percentage, for one demand or for several."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calc.arguments import finite, not_negative, positive
from calc.errors import CalcError
from calc.units import FLOW

# Foam on the deck of a tanker, IMO FSS Code, chapter 14, 2.2.1, m/s: litres a minute per m².
WHOLE_DECK = 0.6 * FLOW["L/min"]  # of the whole cargo deck
LARGEST_TANK = 6 * FLOW["L/min"]  # of the section of the largest single tank
BEFORE_MONITOR = 3 * FLOW["L/min"]  # of the area that the largest monitor protects
LEAST_MONITOR = 1250 * FLOW["L/min"]  # m³/s, however small that area is


@dataclass(frozen=True, slots=True)
class Demand:
    """What draws on the tank at the same time: a proportioner, a zone or hose lines."""

    name: str
    solution_flow: float  # m³/s
    percent: float  # % by volume, as measured where it was measured
    minutes: float | None = None  # it runs so long; None runs until the tank is empty

    @property
    def concentrate_flow(self) -> float:
        """Concentrate that it draws, m³/s.

        Source: definition of percent by volume. Check: tests/calc/test_supply.py.
        """
        flow = float(positive("solution_flow", self.solution_flow))
        drawn = flow * float(positive("percent", self.percent)) / 100
        if drawn == 0 or drawn == float("inf"):  # both are above 0, so only the product left it
            raise CalcError("beyond_numbers", "solution_flow")
        return drawn


@dataclass(frozen=True, slots=True)
class Supply:
    """What a tank does under its demands."""

    minutes: float | None  # until it is empty; None when every demand ends before
    left: float  # m³ that are left after the last demand, 0 when it runs empty


def minutes_of_supply(contents: float, solution_flow: float, percent: float) -> float:
    """Minutes of discharge that the concentrate lasts.

    Parameters
    ----------
    contents : m³ of concentrate that the suction inlet can reach, > 0.
    solution_flow : m³/s of solution, > 0.
    percent : % by volume of concentrate in the solution, > 0.

    Returns
    -------
    minutes. A rich proportioner empties the tank early, also one that is inside its band.

    Raises: not_a_number, not_finite, out_of_range, beyond_numbers.
    Notes: t = V / (Q · p/100), volumes taken as additive, one flow at a time.
    Source: definition of percent by volume (MIL-F-24385F 1.2: parts of solution, not of water).
    Check: arithmetic: 300 L at 1000 L/min and 3.0 % last 10 min, at 3.9 % 7.69 min.
    """
    volume = float(positive("contents", contents))
    lasts = volume / Demand("", solution_flow, percent).concentrate_flow / 60
    return float(finite("contents", lasts))


def supply_of(contents: float, demands: Sequence[Demand]) -> Supply:
    """When a tank runs empty under everything that draws on it at the same time.

    Parameters
    ----------
    contents : float, >= 0, m³ that the suction inlet can reach (see vessels.usable_volume).
    demands : at least one; they start together, and each ends after its own minutes.

    Returns
    -------
    Supply.

    Raises: empty_list, not_a_number, not_finite, out_of_range.
    Notes: constant flows; the sum changes each time a demand ends.
    Source: definition of percent by volume. Check: tests/calc/test_supply.py.
    """
    if not demands:
        raise CalcError("empty_list", "demands")
    left, now = float(not_negative("contents", contents)), 0.0
    for end in sorted({_ends(demand) for demand in demands}):
        flow = sum(d.concentrate_flow for d in demands if _ends(d) >= end)
        lasts = finite("contents", left / flow / 60)
        if lasts < end - now:
            return Supply(minutes=now + lasts, left=0.0)
        left, now = max(left - flow * (end - now) * 60, 0.0), end
    return Supply(minutes=None, left=left)


def _ends(demand: Demand) -> float:
    if demand.minutes is None:
        return float("inf")
    return float(positive("minutes", demand.minutes))


def volume_needed(demands: Sequence[Demand]) -> float:
    """Concentrate that the demands use up, m³; each needs its minutes.

    Raises: empty_list, missing_key, not_a_number, not_finite, out_of_range.
    Source: definition of percent by volume. Check: tests/calc/test_supply.py.
    """
    if not demands:
        raise CalcError("empty_list", "demands")
    if any(demand.minutes is None for demand in demands):
        raise CalcError("missing_key", "minutes", hint=", how long this demand must run")
    return sum(demand.concentrate_flow * _ends(demand) * 60 for demand in demands)


def governing(
    contents: float, scenarios: Mapping[str, Sequence[Demand]], hose_lines: Sequence[Demand] = ()
) -> tuple[str, Supply]:
    """The fire that empties the tank first, with the hose lines that run beside any of them.

    Parameters
    ----------
    contents : float, >= 0, m³ that the suction inlet can reach.
    scenarios : at least one; name → demands that run together in that fire.
    hose_lines : demands that are added to each.

    Returns
    -------
    Name of the scenario and its Supply: the one that runs empty first, and if none does, the one
    that leaves least.

    Raises: empty_list, not_a_number, not_finite, out_of_range.
    Source: NFPA 11, supply for the largest hazard plus supplementary hose lines (from memory).
    Check: tests/calc/test_supply.py.
    """
    if not scenarios:
        raise CalcError("empty_list", "scenarios")
    supplies = {
        name: supply_of(contents, [*demands, *hose_lines]) for name, demands in scenarios.items()
    }

    def first(name: str) -> tuple[float, float]:
        minutes = supplies[name].minutes
        return (float("inf") if minutes is None else minutes, supplies[name].left)

    worst = min(supplies, key=first)
    return worst, supplies[worst]


def deck_foam_flow(deck_area: float, largest_tank_area: float, monitor_area: float) -> float:
    """Least flow of foam solution on the cargo deck of a petroleum tanker.

    Parameters
    ----------
    deck_area, largest_tank_area, monitor_area : float, > 0, m². Cargo deck; horizontal section of
        the largest single tank; area that the largest monitor protects.

    Returns
    -------
    m³/s, the greatest of the three rates.

    Raises: not_a_number, not_finite, out_of_range.
    Source: IMO FSS Code, chapter 14, 2.2.1. Check: fixtures/reference/check-values.json E-09.
    """
    deck = float(positive("deck_area", deck_area))
    tank = float(positive("largest_tank_area", largest_tank_area))
    monitor = float(positive("monitor_area", monitor_area))
    at_monitor = max(BEFORE_MONITOR * monitor, LEAST_MONITOR)
    return max(WHOLE_DECK * deck, LARGEST_TANK * tank, at_monitor)
