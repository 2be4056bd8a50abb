"""Direct tests of the invented world, through the services that the pages call."""

from dataclasses import dataclass
from datetime import timedelta
from math import pi
from typing import Any

from calc.direct_form import DRAW_DOWN, OTHER_LIQUID, WEIGHED
from calc.units import FLOW, MASS
from itm.actions.prepare_test import prepare_test
from itm.core.durations import duration
from itm.core.measures import LENGTH
from itm.core.quantities import Quantity, apart, quantity
from itm.demo import crew as work
from itm.demo.crew import Crew
from itm.demo.scenario import Ages, Planned, days_of_work, flow
from itm.records import discharge, measuring, preparing
from itm.records.direct_flows import in_unit
from itm.records.direct_forms import DENSITY, PERCENT
from itm.records.models import FlowRun, ProportioningTest

AFTER = timedelta(hours=4)  # the crew of the bench has left by then
UNITS = {**LENGTH, **PERCENT, **MASS, **DENSITY}


@dataclass(frozen=True)
class PlannedDirect:
    """One direct test: the day like any other, and what the scenario tells of it."""

    planned: Planned
    told: dict[str, Any]


def direct_work(told: dict[str, Any], ages: Ages) -> list[PlannedDirect]:
    """On the day of the last yearly test of the device, or so many days ago."""
    last: dict[tuple[str, str], Planned] = {}
    for one in days_of_work(told, ages):
        last[one.site, one.tag] = one
    out = []
    for test in told["direct"]:
        like = last[test["site"], test["tag"]]
        begins_at = like.begins_at + AFTER
        if not test.get("same_day"):
            day = ages.working_day(test["days_ago"], begins_at.tzinfo.key)  # type: ignore[union-attr]
            begins_at = begins_at.replace(year=day.year, month=day.month, day=day.day)
        changed = {"back": -1, "first": False, "percents": test["percents"]}
        planned = Planned(**{**vars(like), **changed, "begins_at": begins_at})
        out.append(PlannedDirect(planned, test))
    return out


def measure(crew: Crew, told: dict[str, Any]) -> ProportioningTest:
    """Prepared, run, measured, stopped and put back; whoever asked hands it in."""
    visit = work.plan(crew)
    method = preparing.Direct(told["method"], told.get("liquid", ""))
    test = prepare_test(
        actor=crew.actor, visit=visit, bench=method, purpose=told["purpose"],
        proportioner=crew.world.proportioners[crew.planned.site, crew.planned.tag],
        at=crew.tick(minutes=1),
    )  # fmt: skip
    work.tell_and_start(crew, visit)
    measuring.note_setup(actor=crew.actor, test=test, **_setup(crew, told["setup"]))
    for run in test.runs.select_related("flow_point", "direct").order_by("flow_point__flow"):
        crew.tick(minutes=8)
        discharge.note_run(
            actor=crew.actor, run=run, solution_flow=flow(run.flow_point.flow_typed),
            flow_source="meter",
        )  # fmt: skip
        measuring.note_measured(actor=crew.actor, run=run, **_read(crew, run, told))
    for step in test.flush_steps.order_by("position"):
        discharge.flush_done(actor=crew.actor, step=step, at=crew.tick(minutes=1))
    work.restore(crew, visit)
    return test


def _setup(crew: Crew, told: dict[str, str]) -> dict[str, Any]:
    """Meters by their serial number, what has a unit as a quantity, the rest as it is told."""
    out: dict[str, Any] = {}
    for name, text in told.items():
        number, unit = apart(text, UNITS)
        if name.endswith("_meter"):
            out[name] = crew.world.instruments[text]
        else:
            out[name] = quantity(number, unit, UNITS) if unit else text
    return out


def _read(crew: Crew, run: FlowRun, told: dict[str, Any]) -> dict[str, Any]:
    name, unit = run.flow_point.name, apart(run.flow_point.flow_typed, FLOW)[1]
    solution = run.flow_point.flow
    drawn = solution * crew.planned.percents[name] / 100
    if told["method"] == DRAW_DOWN:
        return _levels(told, drawn, told["durations"][name])
    if told["method"] == WEIGHED:
        return _weights(told, drawn, told["durations"][name])
    read = {"concentrate_source": "meter", "concentrate_read": "rate"}
    if told["method"] != OTHER_LIQUID:
        return {**read, "concentrate_flow": _shown(drawn, unit)}
    foam = (run.direct.foam_percent or 0) / 100 * solution
    return {
        **read,
        "concentrate_flow": _shown(told["ratio"] * drawn, unit),
        "beside_on": run.direct.foam_on,
        "beside_source": told["beside_source"],
        "beside_liquid_flow": _shown(told["ratio"] * foam, unit),
        "beside_second_flow": flow(run.flow_point.flow_typed),
    }


def _levels(told: dict[str, Any], drawn: float, over: str) -> dict[str, Any]:
    number, unit = apart(told["setup"]["diameter"], LENGTH)
    surface = pi / 4 * quantity(number, unit, LENGTH).si ** 2
    taken, before = duration(over), told["level_before_m"]
    after = before - drawn * taken.si / surface
    return {
        "duration": taken,
        "level_before": quantity(f"{1000 * before:.0f}", "mm", LENGTH),
        "level_after": quantity(f"{1000 * after:.0f}", "mm", LENGTH),
    }


def _weights(told: dict[str, Any], drawn: float, over: str) -> dict[str, Any]:
    number, unit = apart(told["setup"]["density"], DENSITY)
    taken, before = duration(over), told["mass_before_kg"]
    after = before - drawn * taken.si * quantity(number, unit, DENSITY).si
    return {
        "duration": taken,
        "mass_before": quantity(f"{before:.1f}", "kg", MASS),
        "mass_after": quantity(f"{round(2 * after) / 2:.1f}", "kg", MASS),
    }


def _shown(value: float, unit: str) -> Quantity:
    """As a display with tenths would show it."""
    number, unit = apart(in_unit(value, unit).typed, FLOW)
    return quantity(f"{float(number):.1f}", unit, FLOW)
