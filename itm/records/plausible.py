"""What was measured at a flow point, beside the point, the tank and each other.

What no fixed system can give is refused; what may be and is more often a slip is said, on the page,
on the device (`field/plausible.js`, by the same rule) and in the record. All bounds are our own
choice.
"""

from itm.core.errors import Refused
from itm.records.models import FlowRun
from itm.registry.models import FlowPoint

# By name: SI value above which nothing is taken, and that in words. Pumps of the largest refinery
# monitors give a tenth of the flow, and tanks a hundredth of the content; no gauge of a fixed
# system ends higher than the pressure.
IMPOSSIBLE = {
    "solution_flow": (10.0, "10 m³/s (600000 L/min)"),
    "inlet_pressure": (4e7, "400 bar"),
    "level_before": (1e5, "100000 m³"),
    "level_after": (1e5, "100000 m³"),
}
FAR = 1.5  # times the flow of the point, either way
LOW_PA, HIGH_PA = 1e5, 2e6  # 1 and 20 bar: fire mains and pumps lie between
SAME = 1e-9  # of a conversion


def require_possible(name: str, si: float | None) -> None:
    """Raises Refused impossible."""
    most, words = IMPOSSIBLE[name]
    if si is not None and si > most:
        raise Refused(
            "impossible",
            f"More than {words} is no figure of a fixed foam system: is the unit or the point "
            "wrong?",
            name,
        )


def figure_remarks(run: FlowRun) -> list[str]:
    tank = run.test.drawn_from
    return [
        *_flow(run.solution_flow, run.solution_flow_typed, run.flow_point),
        *_pressure(run.inlet_pressure, run.inlet_pressure_typed),
        *_levels(run, tank.capacity, tank.capacity_typed),
    ]


def _flow(flow: float | None, typed: str, point: FlowPoint) -> list[str]:
    wanted = point.flow
    if flow is None or 1 / FAR <= flow / wanted <= FAR:
        return []
    return [
        f"{typed} is {flow / wanted:.2g} times the {point.flow_typed} of this flow "
        "point: is a digit or the unit wrong, or were two flow points swapped?"
    ]


def _pressure(pressure: float | None, typed: str) -> list[str]:
    if pressure is None or LOW_PA <= pressure <= HIGH_PA:
        return []
    which = "less than 1 bar" if pressure < LOW_PA else "more than 20 bar"
    return [f"{typed} at the inlet is {which}: is the point in its place, and the unit right?"]


def _levels(run: FlowRun, capacity: float, capacity_typed: str) -> list[str]:
    before, after = run.level_before, run.level_after
    out = [
        f"{typed} is more than the tank can hold ({capacity_typed}): is the unit right?"
        for level, typed in (
            (before, run.level_before_typed), (after, run.level_after_typed)
        )
        if level is not None and level > capacity * (1 + SAME)
    ]  # fmt: skip
    if before is not None and after is not None and after > before * (1 + SAME):
        out.append(
            f"The tank holds more after the run ({run.level_after_typed}) than before it "
            f"({run.level_before_typed}): are the two swapped?"
        )
    return out
