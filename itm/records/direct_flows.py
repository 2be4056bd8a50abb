"""What a direct test read, as numbers with their uncertainty. Pure: rows in, readings out.

A meter that may be off by a share of its reading, a scale or a density that may be off by so much,
and a display of so many steps, are taken as rectangular (JCGM 100:2008, 4.3.7 and F.2.2.1); the
last digit of a totaliser as typed is its step.
"""

import math
from decimal import Decimal

from calc.direct import IN_SOLUTION, Reading
from calc.units import FLOW, VOLUME
from itm.core.quantities import Quantity, apart, parse_decimal
from itm.records.models import DirectRun, DirectSetup, FlowRun
from itm.registry.models import Instrument

TIME_U = 0.5  # s, standard uncertainty of a time taken by hand, own choice, no source
FULL, RECTANGLE = math.sqrt(12), math.sqrt(3)  # a step by its width, an error by its half-width
DIGITS = 6  # of a flow that is worked out; more than any meter has


def concentrate_flow(setup: DirectSetup, run: DirectRun) -> Reading | None:
    """m³/s in the concentrate line, of whatever liquid; None while something is missing."""
    return _metered(
        run.concentrate_read, run.concentrate_flow,
        (run.concentrate_start, run.concentrate_start_typed),
        (run.concentrate_end, run.concentrate_end_typed),
        run.duration, setup.concentrate_accuracy, setup.concentrate_meter,
    )  # fmt: skip


def second_flow(setup: DirectSetup, run: DirectRun, flow: FlowRun) -> Reading | None:
    """m³/s of the other meter, in the solution or in the water; None while something is missing.

    What was noted at the discharge is a flow of solution.
    """
    if run.second_read == DirectRun.SecondRead.DISCHARGE:
        if setup.meter_in != IN_SOLUTION or flow.solution_flow is None:
            return None
        return _rate(flow.solution_flow, setup.second_accuracy, setup.second_meter)
    return _metered(
        run.second_read, run.second_flow,
        (run.second_start, run.second_start_typed), (run.second_end, run.second_end_typed),
        run.duration, setup.second_accuracy, setup.second_meter,
    )  # fmt: skip


def seconds(run: DirectRun) -> Reading | None:
    return None if run.duration is None else Reading(run.duration, TIME_U)


def level(value: float | None, setup: DirectSetup) -> Reading | None:
    """m above the lowest point inside."""
    if value is None or setup.level_step is None:
        return None
    return Reading(value, setup.level_step / FULL)


def mass(value: float | None, setup: DirectSetup) -> Reading | None:
    """kg on the scale."""
    if value is None or setup.scale_step is None or setup.scale_error is None:
        return None
    return Reading(value, math.hypot(setup.scale_step / FULL, setup.scale_error / RECTANGLE))


def density(setup: DirectSetup) -> Reading | None:
    """kg/m³ of the concentrate."""
    if setup.density is None or setup.density_error is None:
        return None
    return Reading(setup.density, setup.density_error / RECTANGLE)


def beside(value: float | None, accuracy: float | None) -> Reading | None:
    """m³/s that the other liquid showed when the foam was tested, by meters as good as today's."""
    return None if value is None else _rate(value, accuracy, None)


def solution_flow(setup: DirectSetup, run: DirectRun, flow: FlowRun) -> Quantity | None:
    """The flow of solution that the meters give, where it was not noted at the discharge; in the
    unit in which the flow point is written."""
    if run.second_read == DirectRun.SecondRead.DISCHARGE or not setup.meter_in:
        return None
    second = _value(
        run.second_read, run.second_flow, run.second_start, run.second_end, run.duration
    )
    if second is None:
        return None
    if setup.meter_in == IN_SOLUTION and run.second_read == DirectRun.SecondRead.RATE:
        return Quantity(second, run.second_flow_typed)
    if setup.meter_in != IN_SOLUTION:
        more = _value(
            run.concentrate_read, run.concentrate_flow, run.concentrate_start,
            run.concentrate_end, run.duration,
        )  # fmt: skip
        if more is None:
            return None
        second += more
    return in_unit(second, apart(flow.flow_point.flow_typed, FLOW)[1])


def in_unit(flow: float, unit: str) -> Quantity:
    """A flow that was worked out, in litres a minute where that is no unit of flow."""
    unit = unit if unit in FLOW else "L/min"
    return Quantity(flow, f"{float(f'{flow / FLOW[unit]:.{DIGITS}g}'):.10g} {unit}")


def _value(
    read: str, rate: float | None, start: float | None, end: float | None, over: float | None
) -> float | None:
    if read == DirectRun.Read.RATE:
        return rate
    if start is None or end is None or over is None:
        return None
    return (end - start) / over


def _metered(
    read: str, rate: float | None, start: tuple[float | None, str],
    end: tuple[float | None, str], over: float | None, accuracy: float | None,
    meter: Instrument | None,
) -> Reading | None:  # fmt: skip
    value = _value(read, rate, start[0], end[0], over)
    if value is None:
        return None
    if read == DirectRun.Read.RATE:
        return _rate(value, accuracy, meter)
    if accuracy is None or over is None:
        return None
    counted = value * over
    steps = [_step(typed, VOLUME) for _, typed in (start, end)]
    u_counted = math.hypot(counted * accuracy / 100 / RECTANGLE, *(s / FULL for s in steps))
    return Reading(value, value * math.hypot(u_counted / counted, TIME_U / over))


def _rate(value: float, accuracy: float | None, meter: Instrument | None) -> Reading | None:
    if accuracy is None:
        return None
    step = 0.0 if meter is None else meter.width * FLOW[meter.unit]
    return Reading(value, math.hypot(value * accuracy / 100 / RECTANGLE, step / FULL))


def _step(typed: str, units: dict[str, float]) -> float:
    """What the last digit of a number stands for, in SI."""
    number, unit = apart(typed, units)
    exponent = parse_decimal(number).as_tuple().exponent
    return float(Decimal(1).scaleb(int(exponent))) * units[unit]
