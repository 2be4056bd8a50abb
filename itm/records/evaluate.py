"""Rows → the engine's form → a stored evaluation. The one way from readings to a result."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import calc
from calc.supply import minutes_of_supply
from itm.accounts.actor import Actor
from itm.records import direct_inputs
from itm.records.drafts import on_bench
from itm.records.judging import OWN_LIMITS, judge
from itm.records.loading import whole
from itm.records.models import Bottle, Evaluation, FlowRun, ProportioningTest
from itm.records.repeatability import history
from itm.records.weighing import VOLUMES, amounts, densities, density_missing, is_weighed

NORMAL_C = 20.0  # where no temperature was noted; the engine then asks for them
WORST_FIRST = ("lean", "rich", "in band")


@dataclass(frozen=True)
class Preview:
    """What a draft would give now: a result, or the sentence that says what is missing. `inputs` is
    the form that it comes from."""

    inputs: dict[str, Any]
    result: dict[str, Any] | None
    problem: str = ""


def _number(value: Decimal | float | None) -> float | None:
    # A decimal with few digits and its nearest double write the same digits, so nothing is lost.
    return None if value is None else float(value)


def _readings(bottle: Bottle) -> list[dict[str, float | None]]:
    return [
        {"value": _number(r.value), "temperature_c": _number(r.temperature_c)}
        for r in bottle.readings.all()
        if r.set_aside_at is None
    ]


def _of_role(test: ProportioningTest, role: str) -> list[Bottle]:
    return [b for b in on_bench(test).bottles.all() if b.role == role and _readings(b)]


def engine_input(test: ProportioningTest) -> dict[str, Any]:
    """The engine's form of a test as `whole` loads it: of its bench, or of its direct method."""
    form = _of_bench(test) if test.bench else _of_direct(test)
    # Keys that not every test has stand in it only where they say something: digests stay.
    if test.lean_probability is not None:
        form["lean_probability"] = test.lean_probability
    if own := _own_limits(test):
        form[OWN_LIMITS] = own
    if test.correct_temperatures:
        form["correct_to_c"] = common_temperature(form)
    return form


def _criterion(test: ProportioningTest) -> Any:
    if test.criterion == "common":
        return "common"
    return {"lower": _number(test.band_lower), "upper": _number(test.band_upper)}


def _of_direct(test: ProportioningTest) -> dict[str, Any]:
    return {
        "method": test.method,
        "nominal_percent": _number(test.nominal_percent),
        "criterion": _criterion(test),
        **direct_inputs.of_method(test),
        "verdict_probability": test.verdict_probability,
    }


def _of_bench(test: ProportioningTest) -> dict[str, Any]:
    """Bottles without a reading in force and readings set aside are not sent; a standard goes in by
    its volumes or masses as made, masses with the densities."""
    bench = on_bench(test)
    instrument = bench.instrument
    water, again, system_water, concentrate = (
        [r for b in _of_role(test, role) for r in _readings(b)]
        for role in (
            Bottle.Role.WATER,
            Bottle.Role.WATER_AGAIN,
            Bottle.Role.SYSTEM_WATER,
            Bottle.Role.CONCENTRATE,
        )
    )
    beside = {"water_again": again, "test_water": system_water}
    meter: dict[str, Any] = {
        "resolution": _number(instrument.resolution),
        "repeatability": _number(instrument.repeatability),
        "temperature_compensated": bench.compensates,
    }
    if instrument.interpolated:
        meter["interpolated"] = True
    standards = _of_role(test, Bottle.Role.STANDARD)
    known_as = densities(bench) if any(map(is_weighed, standards)) else None
    if known := _history(test):
        meter["repeatability_history"] = known
    return {
        "method": instrument.method,
        "nominal_percent": _number(test.nominal_percent),
        "criterion": _criterion(test),
        "instrument": meter,
        "water": water,
        **{key: readings for key, readings in beside.items() if readings},
        "standards": [
            {
                **(amounts(b) or dict.fromkeys(VOLUMES)),
                "readings": _readings(b),
            }
            for b in standards
        ],
        **({"densities": known_as} if known_as else {}),
        "concentrate": concentrate or None,
        "samples": [
            {"name": b.label, "flow_point": run.flow_point.name, "readings": _readings(b)}
            for run in test.runs.all()
            for b in run.bottles.all()
            if _readings(b)
        ],
        "include_water": test.include_water,
        "fit": "ordinary",
        "verdict_probability": test.verdict_probability,
    }


def _own_limits(test: ProportioningTest) -> dict[str, dict[str, float | None]]:
    """Of each flow point, where the criterion gives it its own."""
    return {
        run.flow_point.name: {"lower": _number(run.band_lower), "upper": _number(run.band_upper)}
        for run in test.runs.all()
        if run.band_lower is not None
    }


def _history(test: ProportioningTest) -> dict[str, float] | None:
    """What the instrument's other sealed benches say of it now; by value, so that what is sealed
    later moves no evaluation. A record that this one corrects has the same readings."""
    amended = [test.amends.bench_id] if test.amends and test.amends.bench_id else []
    bench = on_bench(test)
    known = history(bench.instrument, without=[bench.pk, *amended])
    if known is None or not known.standard_deviation:
        return None
    return {
        "standard_deviation": known.standard_deviation,
        "degrees_of_freedom": known.degrees_of_freedom,
    }


def common_temperature(form: dict[str, Any]) -> float:
    """The mean of what the line was read at, so that as little as possible is corrected."""
    bottles = [form["water"], *(standard["readings"] for standard in form["standards"])]
    noted = [r["temperature_c"] for b in bottles for r in b if r["temperature_c"] is not None]
    return round(sum(noted) / len(noted), 1) if noted else NORMAL_C


def _missing(test: ProportioningTest, form: dict[str, Any]) -> str:
    """What the test still lacks, in the words of the crew and not of the engine's form."""
    if test.is_direct:
        return direct_inputs.missing(test, form)
    if not form["water"]:
        return "The test water has no reading yet; read it as the zero-percent point."
    if len(form["standards"]) < 2:
        return "The line needs at least two standards with a reading."
    if any(None in s.values() for s in form["standards"]):
        return "A standard that was read has no volumes as made; write both down."
    weighed = any("concentrate_g" in s for s in form["standards"])
    if weighed and (missing := density_missing(on_bench(test))):
        return missing
    if not form["samples"]:
        return "No discharge sample has a reading yet."
    return ""


def preview(test: ProportioningTest) -> Preview:
    """What the rows give now. Stores nothing."""
    return preview_of(whole(test.pk))


def preview_of(loaded: ProportioningTest) -> Preview:
    """The same for a test that `loading.whole` has already given."""
    form = engine_input(loaded)
    if problem := _missing(loaded, form):
        return Preview(form, None, problem)
    try:
        return Preview(form, judge(form))
    except calc.CalcError as refusal:
        return Preview(form, None, refusal.message)


def evaluate(test: ProportioningTest, *, actor: Actor) -> Evaluation:
    """Run the engine and keep inputs, result, version and digest as a new row.

    Raises calc.CalcError where the engine refuses.
    """
    form = engine_input(whole(test.pk))
    result = judge(form)
    return Evaluation.objects.create(
        by=actor,
        test=test,
        engine_version=result["engine_version"],
        inputs_digest=result["inputs_digest"],
        inputs=form,
        result=result,
    )


def outcome(result: dict[str, Any]) -> tuple[str, str]:
    """Limits and certainty of a whole test for lists: its worst flow point, and settled only when
    every flow point is. Never a mean over flow points."""
    points = result["flow_points"]
    limits = next(word for word in WORST_FIRST if any(p["limits"] == word for p in points))
    settled = all(p["certainty"] == "settled" for p in points)
    return limits, "settled" if settled else "undecided"


def supply(test: ProportioningTest, result: dict[str, Any]) -> list[dict[str, Any]]:
    """Minutes that a full tank lasts at each flow point, at its flow and measured percent."""
    flows = {name: flow_of(run) for name, run in _runs_by_name(test, result).items()}
    tank = test.drawn_from
    return [
        {
            "flow_point": point["name"],
            "minutes": minutes_of_supply(tank.usable_volume, flows[point["name"]], point["percent"])
            if point["percent"] > 0 and point["name"] in flows
            else None,
            "required_minutes": test.proportioner.system.required_minutes,
            "basis": f"usable volume of the tank, {tank.usable_volume_typed}, at this flow alone",
        }
        for point in result["flow_points"]
    ]


def _runs_by_name(test: ProportioningTest, result: dict[str, Any]) -> dict[str, FlowRun]:
    """By the names that the result has. A flow point can be called otherwise since: those that
    fit no name any more go together in the order of their flows, in which both lists stand."""
    runs = {run.flow_point.name: run for run in test.runs.all()}
    names = [point["name"] for point in result["flow_points"]]
    there = {name: runs[name] for name in names if name in runs}
    others = [run for name, run in runs.items() if name not in there]
    left = [name for name in names if name not in there]
    return there | (dict(zip(left, others, strict=True)) if len(left) == len(others) else {})


def flow_of(run: FlowRun) -> float:
    """As measured, or as planned where nobody measured it."""
    return run.solution_flow or run.flow_point.flow
