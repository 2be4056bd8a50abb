"""Rows of a direct test → the engine's form of it, and what of it is still missing."""

from typing import Any

from calc.direct import Reading
from calc.direct_form import DRAW_DOWN, DRAWN, OTHER_LIQUID, WEIGHED
from calc.errors import CalcError
from calc.vessel_form import SHAPES, vessel_at
from calc.vessels import Vessel
from itm.records import direct_flows as flows
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest

NOTHING_YET = "No flow point has all its measurements yet; write down what was read there."


def of_method(test: ProportioningTest) -> dict[str, Any]:
    """What the engine's form of this method holds besides the rule; flow points with something
    missing are not sent."""
    setup = test.direct
    head: dict[str, Any] = {"meter_in": setup.meter_in or None}
    if test.method == DRAW_DOWN:
        head = {"vessel": vessel_form(setup), "level_step": setup.level_step}
    elif test.method == WEIGHED:
        known = _plain({"density": flows.density(setup)})
        head = {"density": None, "scale_step": setup.scale_step, **known}
    points = [_point(test, setup, run) for run in test.runs.all()]
    return {**head, "flow_points": [point for point in points if point is not None]}


def missing(test: ProportioningTest, form: dict[str, Any]) -> str:
    """Why there is nothing to evaluate, in a sentence; empty where there is something."""
    setup = test.direct
    if test.method not in DRAWN and not setup.meter_in:
        return "Say where the second meter sits: in the solution, or in the water."
    if test.method == DRAW_DOWN and (form["vessel"] is None or form["level_step"] is None):
        return "The vessel has no shape with all its sizes yet, or its scale no step."
    if test.method == WEIGHED and (form["density"] is None or form["scale_step"] is None):
        return "The scale has no step yet, or the concentrate no density with its error."
    return "" if form["flow_points"] else NOTHING_YET


def measured_whole(test: ProportioningTest) -> bool:
    """Whether every flow point has all that its percent needs."""
    return len(of_method(test)["flow_points"]) == len(test.runs.all())


def _point(test: ProportioningTest, setup: DirectSetup, flow: FlowRun) -> dict[str, Any] | None:
    run = flow.direct
    second = flows.second_flow(setup, run, flow)
    if test.method == DRAW_DOWN:
        read = {
            "level_before": flows.level(run.level_before, setup),
            "level_after": flows.level(run.level_after, setup),
            "seconds": flows.seconds(run),
            "solution_flow": second,
        }
    elif test.method == WEIGHED:
        read = {
            "mass_before": flows.mass(run.mass_before, setup),
            "mass_after": flows.mass(run.mass_after, setup),
            "seconds": flows.seconds(run),
            "solution_flow": second,
        }
    else:
        first = "liquid_flow" if test.method == OTHER_LIQUID else "concentrate_flow"
        read = {first: flows.concentrate_flow(setup, run), "second_flow": second}
    if any(reading is None for reading in read.values()):
        return None
    point: dict[str, Any] = {"name": flow.flow_point.name, **_plain(read)}
    if test.method == OTHER_LIQUID:
        point["baseline"] = baseline_form(setup, run)
        if point["baseline"] is None:
            return None
    return point


def baseline_form(setup: DirectSetup, run: DirectRun) -> dict[str, Any] | None:
    """The test with foam, and what the other liquid read beside it; None while that is missing."""
    read = {
        "liquid_flow": flows.beside(run.beside_liquid_flow, setup.concentrate_accuracy),
        "second_flow": flows.beside(run.beside_second_flow, setup.second_accuracy),
    }
    if run.foam_percent is None or any(reading is None for reading in read.values()):
        return None
    return {
        "name": run.foam_name,
        "percent": run.foam_percent,
        "standard_uncertainty": run.foam_uncertainty,
        "degrees_of_freedom": run.foam_degrees_of_freedom,
        "solution_flow": run.foam_flow,
        **_plain(read),
    }


def _plain(read: dict[str, Reading | None]) -> dict[str, Any]:
    return {
        name: {"value": reading.value, "standard_uncertainty": reading.u}
        for name, reading in read.items()
        if reading is not None
    }


def vessel_form(setup: DirectSetup) -> dict[str, Any] | None:
    """Shape and sizes as the engine takes them; None while one is missing."""
    if not setup.shape:
        return None
    sizes = {name: getattr(setup, name) for name in SHAPES[setup.shape]}
    if any(size in (None, "") for size in sizes.values()):
        return None
    return {"shape": setup.shape, **sizes}


def vessel_of(setup: DirectSetup) -> Vessel | None:
    """Of whole sizes that the engine takes; None otherwise."""
    form = vessel_form(setup)
    try:
        return None if form is None else vessel_at(form, "$")
    except CalcError:
        return None
