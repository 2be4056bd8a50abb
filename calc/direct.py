"""Percent without a bench: two flows, a tank that sinks, or a liquid in place of concentrate.

All give the same kind of result. What discharges no foam rests on a baseline with foam, and none of
it sees that a concentrate has thickened: its viscosity is part of these methods.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import not_negative, numbers, one_shape, positive
from calc.errors import CalcError, quoted
from calc.measured import Measured, Part, measured
from calc.vessels import Vessel, height, volume_at

IN_SOLUTION, IN_WATER = "solution", "water"  # where the second meter sits
SAME_FLOW = 0.1  # share of the baseline's flow, own choice, no source
RESOLUTIONS = 10  # a level must move so many steps of its reading, common practice, no source
SLOPE_STEP = 1e-4  # of the height of a vessel, own choice: step of a numerical slope


@dataclass(frozen=True, slots=True)
class Reading:
    """A number that was read, with its standard uncertainty, in one unit."""

    value: Any
    u: Any = 0.0
    degrees_of_freedom: Any = np.inf


@dataclass(frozen=True, slots=True)
class Baseline:
    """What another liquid reads over what foam concentrate read at the same flow, once."""

    name: str  # which test, when
    solution_flow: float  # m³/s
    factor: float  # percent with concentrate over percent with the other liquid
    u_factor: float
    degrees_of_freedom: float = float("inf")


def flow_ratio(concentrate: Reading, second: Reading, meter_in: str = IN_SOLUTION) -> Measured:
    """Percent from a meter in the concentrate line and one in the solution or the water.

    Parameters
    ----------
    concentrate : Reading, m³/s, > 0, arrays allowed.
    second : Reading, m³/s, > 0. Flow of the other meter.
    meter_in : "solution" when the other meter sees solution, "water" when it sits before the
        concentrate comes in.

    Returns
    -------
    Measured, broadcast shape.

    Raises: unknown_choice, not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: 100 c/s, or 100 c/(c + w). Percent of water instead of percent of solution would turn
    3.00 into 3.09. The meter must suit the liquid: thick, conducting or not.
    Source: definition of percent by volume; JCGM 100:2008, 5.1.2. Check: tests/calc/test_direct.py.
    """
    if meter_in not in (IN_SOLUTION, IN_WATER):
        choices = '"solution", "water"'
        raise CalcError("unknown_choice", "meter_in", got=quoted(str(meter_in)), choices=choices)
    one_shape("second", concentrate.value, second.value, concentrate.u, second.u)
    c, other = positive("concentrate", concentrate.value), positive("second", second.value)
    solution = other if meter_in == IN_SOLUTION else c + other
    if np.any(c > solution):
        want = "a flow of concentrate that is not above that of the solution"
        raise CalcError("out_of_range", "concentrate", got=float(np.max(c)), want=want)
    percent = 100 * c / solution
    # Seen by a meter in the water, part of the concentrate's error cancels in the sum.
    share = 1.0 if meter_in == IN_SOLUTION else other / solution
    u_c = not_negative("concentrate.u", concentrate.u) / c
    u_other = not_negative("second.u", second.u) / other
    return measured(
        percent,
        [
            Part("concentrate meter", percent * share * u_c, concentrate.degrees_of_freedom),
            Part(f"{meter_in} meter", percent * share * u_other, second.degrees_of_freedom),
        ],
    )


def draw_down(
    vessel: Vessel, before: Reading, after: Reading, seconds: Reading, solution_flow: Reading
) -> Measured:
    """Percent from the level of the concentrate before and after a timed run at one flow.

    Parameters
    ----------
    vessel : see calc.vessels.
    before, after : Reading, m above the lowest point inside, after below before.
    seconds : Reading, > 0. Length of the run at this flow.
    solution_flow : Reading, m³/s, > 0, mean over the run.

    Returns
    -------
    Measured.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: 100 (V(before) - V(after))/(t Q). A level's part is its uncertainty times the surface
    there. Foam on the surface, a sloping tank, a bladder and liquid that runs back are not in it.
    Source: geometry of the vessel; JCGM 100:2008, 5.1.2. Check: tests/calc/test_direct.py.
    """
    one_shape("after", before.value, after.value, before.u, after.u)
    if np.any(numbers("after", after.value) >= numbers("before", before.value)):
        want = "a level below the one before the run"
        raise CalcError("out_of_range", "after", got=float(np.max(after.value)), want=want)
    drawn = volume_at(vessel, before.value) - volume_at(vessel, after.value)
    parts = [
        Part(
            f"level {when}",
            _surface(vessel, level.value) * not_negative(f"{when}.u", level.u) / drawn,
            level.degrees_of_freedom,
        )
        for when, level in (("before", before), ("after", after))
    ]
    return _over_time(drawn, parts, seconds, solution_flow)


def draw_down_by_weight(
    before: Reading, after: Reading, density: Reading, seconds: Reading, solution_flow: Reading
) -> Measured:
    """Percent from the mass of the concentrate before and after a timed run at one flow.

    Parameters
    ----------
    before, after : Reading, kg, after below before.
    density : Reading, kg/m³, > 0, of the concentrate at its temperature.
    seconds, solution_flow : as for `draw_down`.

    Returns
    -------
    Measured.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: 100 (m(before) - m(after))/(ρ t Q). Both readings of the scale are taken as independent:
    what one scale is off by both times alike would cancel, so this is never too narrow for it.
    Buoyancy of the air, a thousandth for a liquid like water (check value D-02), is left out.
    Source: definition of density; JCGM 100:2008, 5.1.2. Check: tests/calc/test_direct.py
    (Eurachem QUAM, example A1: check value D-06).
    """
    one_shape("after", before.value, after.value, before.u, after.u, density.value, density.u)
    drawn = numbers("before", before.value) - not_negative("after", after.value)
    if np.any(drawn <= 0):
        want = "a mass below the one before the run"
        raise CalcError("out_of_range", "after", got=float(np.max(after.value)), want=want)
    heavy = positive("density", density.value)
    parts = [
        Part("mass before", not_negative("before.u", before.u) / drawn, before.degrees_of_freedom),
        Part("mass after", not_negative("after.u", after.u) / drawn, after.degrees_of_freedom),
        Part("density", not_negative("density.u", density.u) / heavy, density.degrees_of_freedom),
    ]
    return _over_time(drawn / heavy, parts, seconds, solution_flow)


def _over_time(
    drawn: Any, relative: list[Part], seconds: Reading, solution_flow: Reading
) -> Measured:
    """Percent from a volume drawn; the parts given are relative to it."""
    one_shape("seconds", drawn, seconds.value, seconds.u)
    one_shape("solution_flow", drawn, seconds.value, solution_flow.value, solution_flow.u)
    t, flow = positive("seconds", seconds.value), positive("solution_flow", solution_flow.value)
    percent = 100 * drawn / (t * flow)
    u_t = not_negative("seconds.u", seconds.u) / t
    u_flow = not_negative("solution_flow.u", solution_flow.u) / flow
    every = [
        *relative,
        Part("time", u_t, seconds.degrees_of_freedom),
        Part("solution flow", u_flow, solution_flow.degrees_of_freedom),
    ]
    return measured(
        percent, [Part(p.name, percent * p.u_percent, p.degrees_of_freedom) for p in every]
    )


def _surface(vessel: Vessel, level: Any) -> Any:
    """Change of volume per level, m², from a small step that stays inside the vessel."""
    most = height(vessel)
    low = np.clip(level - SLOPE_STEP * most, 0, most)
    high = np.clip(level + SLOPE_STEP * most, 0, most)
    return (volume_at(vessel, high) - volume_at(vessel, low)) / (high - low)


def moved_enough(before: Any, after: Any, resolution: Any) -> Any:
    """Whether a level or a scale moved ten times what its reading can tell apart; True or an array
    of it.

    Raises: not_a_number, not_finite, out_of_range.
    Source: common practice, no published source. Check: tests/calc/pitfalls/test_flow.py.
    """
    moved = numbers("before", before) - numbers("after", after)
    # 1e-9 of a step, own choice: 0.5 - 0.4 must count as ten steps of 0.01.
    return moved >= (RESOLUTIONS - 1e-9) * positive("resolution", resolution)


def seconds_needed(
    vessel: Vessel, level: float, u_level: float, concentrate_flow: float, relative: float
) -> float:
    """How long a draw-down must run so that the two levels leave no more than wanted open.

    Parameters
    ----------
    vessel : see calc.vessels.
    level : float, m, before the run.
    u_level : float, > 0, m. Standard uncertainty of one level.
    concentrate_flow : float, > 0, m³/s expected.
    relative : float, > 0. Standard uncertainty wanted from the levels, as a share of the percent.

    Returns
    -------
    Seconds, with the surface as it is at the level before.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: √2 u A/(relative q): the surface A is taken as unchanged over the run.
    Source: JCGM 100:2008, 5.1.2. Check: tests/calc/pitfalls/test_flow.py.
    """
    wanted = positive("relative", relative) * positive("concentrate_flow", concentrate_flow)
    open_volume = np.sqrt(2) * positive("u_level", u_level) * _surface(vessel, level)
    return float(open_volume / wanted)


def seconds_to_move(
    vessel: Vessel, level: float, resolution: float, concentrate_flow: float
) -> float:
    """How long a run takes to move the level by ten steps of its reading.

    Parameters
    ----------
    vessel : see calc.vessels.
    level : float, m, before the run.
    resolution : float, > 0, m. One step that a reading of the level can tell apart.
    concentrate_flow : float, > 0, m³/s expected.

    Returns
    -------
    Seconds, with the surface as it is at the level before.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: 10 r A/q.
    Source: common practice for the ten steps, no published source; arithmetic. Check:
    tests/calc/test_direct_form.py.
    """
    drawn = RESOLUTIONS * positive("resolution", resolution) * _surface(vessel, level)
    return float(drawn / positive("concentrate_flow", concentrate_flow))


def seconds_to_weigh(step: float, density: float, concentrate_flow: float) -> float:
    """How long a run takes to move a scale by ten of its steps.

    Parameters
    ----------
    step : float, > 0, kg. One step of the scale.
    density : float, > 0, kg/m³, of the concentrate.
    concentrate_flow : float, > 0, m³/s expected.

    Returns
    -------
    Seconds.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: 10 e/(ρ q).
    Source: common practice for the ten steps, no published source; arithmetic. Check:
    tests/calc/test_direct_form.py.
    """
    mass = RESOLUTIONS * positive("step", step)
    flow = positive("concentrate_flow", concentrate_flow)
    return float(mass / (positive("density", density) * flow))


def seconds_more(moved: float, seconds: float, resolution: float) -> float:
    """How much longer a run must go on at its flow until a level or a scale has moved ten steps.

    Parameters
    ----------
    moved : float, > 0, m that the level sank, or kg that the scale went down.
    seconds : float, > 0, in which it did.
    resolution : float, > 0, in the same unit. One step that a reading can tell apart.

    Returns
    -------
    Seconds, 0 where it has moved enough.

    Raises: not_a_number, not_finite, out_of_range.
    Source: common practice for the ten steps, no published source; arithmetic. Check:
    tests/calc/test_direct_form.py.
    """
    wanted = RESOLUTIONS * positive("resolution", resolution) / positive("moved", moved)
    return float(positive("seconds", seconds) * max(wanted - 1, 0.0))


def baseline(
    name: str, with_concentrate: Measured, with_other: Measured, solution_flow: float
) -> Baseline:
    """Conversion factor from one pair of runs: with concentrate, then with the other liquid.

    Parameters
    ----------
    name : str. Which test this was and when; it is printed beside every result that rests on it.
    with_concentrate, with_other : Measured, single results above 0, at the same flow.
    solution_flow : float, > 0, m³/s.

    Returns
    -------
    Baseline.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: factor = percent with concentrate over percent with the other liquid; relative
    uncertainties as squares. Water runs through more easily and reads higher, by about a fifth in
    one method (common practice, no published source).
    Source: JCGM 100:2008, 5.1.6; discipline of FM Approvals 5138 (2011), second-hand. Check:
    tests/calc/test_direct.py.
    """
    foam = positive("with_concentrate", with_concentrate.percent)
    other = positive("with_other", with_other.percent)
    factor = measured(
        foam / other,
        [
            Part("c", with_concentrate.u_percent / other, with_concentrate.degrees_of_freedom),
            Part("o", foam * with_other.u_percent / other**2, with_other.degrees_of_freedom),
        ],
    )
    return Baseline(
        name=name,
        solution_flow=float(positive("solution_flow", solution_flow)),
        factor=float(factor.percent),
        u_factor=float(factor.u_percent),
        degrees_of_freedom=float(factor.degrees_of_freedom),
    )


def from_other_liquid(
    with_other: Measured, solution_flow: Any, reference: Baseline | None
) -> Measured:
    """Percent that concentrate would have, from a run with water or a surrogate in its place.

    Parameters
    ----------
    with_other : Measured, percent of the other liquid in the solution, > 0.
    solution_flow : array_like, > 0, m³/s, of this run.
    reference : Baseline at the same flow, within a tenth; a run without one gives no percent.

    Returns
    -------
    Measured, shape of with_other.

    Raises: foam_baseline_missing, baseline_at_another_flow, not_a_number, not_finite, out_of_range,
    shapes_differ.
    Notes: percent times factor. It tells whether the device changed since the baseline, not
    whether the concentrate did: after a substantial change run concentrate again.
    Source: JCGM 100:2008, 5.1.6; discipline of FM Approvals 5138 (2011), second-hand. Check:
    tests/calc/test_direct.py.
    """
    if reference is None:
        raise CalcError("foam_baseline_missing", "reference")
    one_shape("solution_flow", with_other.percent, solution_flow)
    flow = positive("solution_flow", solution_flow)
    if np.any(np.abs(flow - reference.solution_flow) > SAME_FLOW * reference.solution_flow):
        apart = float(np.max(np.abs(flow / reference.solution_flow - 1)))
        raise CalcError("baseline_at_another_flow", "solution_flow", apart=apart, most=SAME_FLOW)
    factor = positive("factor", reference.factor)
    u_factor = not_negative("u_factor", reference.u_factor)
    read = positive("with_other", with_other.percent)
    return measured(
        read * factor,
        [
            Part("reading", factor * with_other.u_percent, with_other.degrees_of_freedom),
            Part("baseline", read * u_factor, reference.degrees_of_freedom),
        ],
    )
