"""The form of a test by a direct method: plain data in, percents, limits and certainty out.

Four methods share it: two flows, a tank that sinks, a tank or drum that gets lighter, and another
liquid in place of concentrate.
What they give has the keys of an evaluated bench, so that whoever reads one reads the other; there
is no line, no sample and nothing to mix.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.acceptance import WORDS, Band, certainty, judge
from calc.canonical import digest
from calc.direct import (
    IN_SOLUTION,
    IN_WATER,
    RESOLUTIONS,
    Reading,
    baseline,
    draw_down,
    draw_down_by_weight,
    flow_ratio,
    from_other_liquid,
    moved_enough,
    seconds_more,
)
from calc.entries import choice_at, keys_at, list_at, number_at, percent_at, positive_at, text_at
from calc.errors import CalcError, Warned, quoted
from calc.form import criterion_at, probability_at
from calc.measured import Measured
from calc.result import Result
from calc.student import LEAST_DOF, MOST_DOF
from calc.version import __version__
from calc.vessel_form import vessel_at

TWO_FLOWS, DRAW_DOWN, OTHER_LIQUID = "two_flows", "draw_down", "other_liquid"
WEIGHED = "weighed"
DRAWN = (DRAW_DOWN, WEIGHED)  # what left a tank or drum, over a time
DIRECT_METHODS = (TWO_FLOWS, DRAW_DOWN, WEIGHED, OTHER_LIQUID)

KEYS = ("method", "nominal_percent", "criterion", "flow_points")
OPTIONS = ("verdict_probability", "lean_probability")
# What each method needs besides, for the test and for each flow point.
OF_TEST = {
    TWO_FLOWS: ("meter_in",),
    DRAW_DOWN: ("vessel", "level_step"),
    WEIGHED: ("density", "scale_step"),
    OTHER_LIQUID: ("meter_in",),
}
OF_POINT = {
    TWO_FLOWS: ("concentrate_flow", "second_flow"),
    DRAW_DOWN: ("level_before", "level_after", "seconds", "solution_flow"),
    WEIGHED: ("mass_before", "mass_after", "seconds", "solution_flow"),
    OTHER_LIQUID: ("liquid_flow", "second_flow", "baseline"),
}
READ_KEYS = ("value", "standard_uncertainty")
BASELINE_KEYS = (
    "name", "percent", "standard_uncertainty", "degrees_of_freedom", "solution_flow", "liquid_flow",
    "second_flow",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PointResult:
    """One flow point: the result as of a bench, and the budget behind its uncertainty."""

    result: Result
    parts: tuple[tuple[str, float], ...]  # name, standard uncertainty in % by volume
    liquid: tuple[float, float] | None  # percent of the other liquid, and the factor to foam

    def as_dict(self) -> dict[str, Any]:
        out = self.result.as_dict()
        out["parts"] = [{"name": name, "standard_uncertainty": u} for name, u in self.parts]
        if self.liquid is not None:
            out["liquid_percent"], out["factor"] = self.liquid
        return out


@dataclass(frozen=True, slots=True)
class DirectEvaluation:
    """The evaluation of one test; `as_dict` is the form that is printed and stored."""

    method: str
    band: Band
    flow_points: tuple[PointResult, ...]
    warnings: tuple[Warned, ...]
    inputs_digest: str

    def as_dict(self) -> dict[str, Any]:
        return {
            "method": self.method,
            "line": None,
            "band": {"lower": float(self.band.lower), "upper": float(self.band.upper)},
            "samples": [],
            "flow_points": [point.as_dict() for point in self.flow_points],
            "lack_of_fit": None,
            "mixing": None,
            "warnings": [warned.as_dict() for warned in self.warnings],
            "engine_version": __version__,
            "inputs_digest": self.inputs_digest,
        }


@dataclass(frozen=True, slots=True)
class Rule:
    """How a percent is judged."""

    band: Band
    wanted: float | None
    not_lean: float | None


def evaluate_direct(data: Any) -> DirectEvaluation:
    """Evaluate one test by a direct method.

    Parameters
    ----------
    data : dict in the form of such a test, as JSON gives it. Flows in m³/s, levels and sizes in m,
        masses in kg, a density in kg/m³, times in s, percents in % by volume; each reading with its
        standard uncertainty.

    Returns
    -------
    DirectEvaluation; intervals two-sided 95 %, never a mean over flow points.

    Raises: CalcError with the JSON path of the entry: the codes of a form, and those of
    `flow_ratio`, `draw_down`, `draw_down_by_weight`, `baseline` and `from_other_liquid`.
    Notes: the percent by its method; limits by the plain value; certainty by Student's t with the
    effective degrees of freedom taken down to an even number from 4 to 20. A level or a scale
    that moved fewer than ten steps leaves its flow point open.
    Source: JCGM 100:2008, 5.1.2 and G.4; the modules named in the imports give theirs. Check:
    tests/calc/test_direct_form.py.
    """
    method = _method(data)
    form = keys_at(data, "$", (*KEYS, *OF_TEST[method]), OPTIONS)
    nominal = percent_at(form["nominal_percent"], "$.nominal_percent")
    _, band = criterion_at(form["criterion"], "$.criterion", nominal)
    rule = Rule(
        band,
        probability_at(form.get("verdict_probability", 0.75), "$.verdict_probability"),
        probability_at(form.get("lean_probability"), "$.lean_probability"),
    )
    found = METHODS[method](form)
    points, warned, names = [], [], dict[str, str]()
    for i, given in enumerate(list_at(form["flow_points"], "$.flow_points")):
        where = f"$.flow_points[{i}]"
        entries = keys_at(given, where, ("name", *OF_POINT[method]))
        name = text_at(entries["name"], f"{where}.name")
        if name in names:
            raise CalcError("repeated_name", f"{where}.name", name=quoted(name), other=names[name])
        names[name] = where
        value, liquid, said = found(entries, where)
        points.append(_judged(name, where, value, liquid, rule, bool(said)))
        warned += said
    return DirectEvaluation(method, band, tuple(points), tuple(warned), digest(data))


Liquid = tuple[float, float] | None
Found = tuple[Measured, Liquid, list[Warned]]
OfPoint = Callable[[dict[str, Any], str], Found]


def _method(data: Any) -> str:
    if not isinstance(data, dict) or "method" not in data:
        keys_at(data, "$", KEYS)
    return choice_at(data["method"], "$.method", DIRECT_METHODS)


def _two_flows(form: dict[str, Any]) -> OfPoint:
    meter_in = choice_at(form["meter_in"], "$.meter_in", (IN_SOLUTION, IN_WATER))

    def of_point(entries: dict[str, Any], where: str) -> Found:
        return _ratio(entries, "concentrate_flow", meter_in, where), None, []

    return of_point


def _draw_down(form: dict[str, Any]) -> OfPoint:
    vessel = vessel_at(form["vessel"], "$.vessel")
    step = positive_at(form["level_step"], "$.level_step")

    def of_point(entries: dict[str, Any], where: str) -> Found:
        before, after, seconds, flow = (
            _read(entries[name], f"{where}.{name}") for name in OF_POINT[DRAW_DOWN]
        )
        found = _placed(lambda: draw_down(vessel, before, after, seconds, flow), where)
        return found, None, _on_steps("level_moved_little", before, after, seconds, step, where)

    return of_point


def _weighed(form: dict[str, Any]) -> OfPoint:
    density = _read(form["density"], "$.density")
    positive_at(density.value, "$.density.value")
    step = positive_at(form["scale_step"], "$.scale_step")

    def of_point(entries: dict[str, Any], where: str) -> Found:
        before, after, seconds, flow = (
            _read(entries[name], f"{where}.{name}") for name in OF_POINT[WEIGHED]
        )
        found = _placed(lambda: draw_down_by_weight(before, after, density, seconds, flow), where)
        return found, None, _on_steps("scale_moved_little", before, after, seconds, step, where)

    return of_point


def _on_steps(
    code: str, before: Reading, after: Reading, seconds: Reading, step: float, where: str
) -> list[Warned]:
    if moved_enough(before.value, after.value, step):
        return []
    moved = float(before.value - after.value)
    values = {
        "moved": moved,
        "steps": moved / step,
        "least": RESOLUTIONS,
        "more": seconds_more(moved, seconds.value, step),
    }
    return [Warned(code, where, values)]


def _other_liquid(form: dict[str, Any]) -> OfPoint:
    meter_in = choice_at(form["meter_in"], "$.meter_in", (IN_SOLUTION, IN_WATER))

    def of_point(entries: dict[str, Any], where: str) -> Found:
        liquid = _ratio(entries, "liquid_flow", meter_in, where)
        if entries["baseline"] is None:
            raise CalcError("foam_baseline_missing", f"{where}.baseline")
        place = f"{where}.baseline"
        was = keys_at(entries["baseline"], place, BASELINE_KEYS)
        foam = _foam(was, place)
        beside = _ratio(was, "liquid_flow", meter_in, place)
        at_flow = positive_at(was["solution_flow"], f"{place}.solution_flow")
        name = text_at(was["name"], f"{place}.name")
        reference = _placed(lambda: baseline(name, foam, beside, at_flow), place)
        flow = _solution_flow(entries, meter_in)
        # What the liquid read beside the foam has to be of that flow too.
        _placed(lambda: from_other_liquid(beside, _solution_flow(was, meter_in), reference), place)
        percent = _placed(lambda: from_other_liquid(liquid, flow, reference), where)
        return percent, (float(liquid.percent), reference.factor), []

    return of_point


METHODS: dict[str, Callable[[dict[str, Any]], OfPoint]] = {
    TWO_FLOWS: _two_flows,
    DRAW_DOWN: _draw_down,
    WEIGHED: _weighed,
    OTHER_LIQUID: _other_liquid,
}


def _ratio(entries: dict[str, Any], first: str, meter_in: str, where: str) -> Measured:
    one = _read(entries[first], f"{where}.{first}")
    other = _read(entries["second_flow"], f"{where}.second_flow")
    return _placed(lambda: flow_ratio(one, other, meter_in), f"{where}.{first}")


def _solution_flow(entries: dict[str, Any], meter_in: str) -> float:
    """Of entries that `_ratio` has taken; m³/s."""
    second = float(entries["second_flow"]["value"])
    return second if meter_in == IN_SOLUTION else second + float(entries["liquid_flow"]["value"])


def _foam(was: dict[str, Any], where: str) -> Measured:
    """What the test with concentrate gave; its own budget stands in its own record."""
    percent = percent_at(was["percent"], f"{where}.percent")
    u = positive_at(was["standard_uncertainty"], f"{where}.standard_uncertainty")
    dof = positive_at(was["degrees_of_freedom"], f"{where}.degrees_of_freedom")
    return Measured(percent, u, dof, percent, percent, ())


def _read(given: Any, where: str) -> Reading:
    entries = keys_at(given, where, READ_KEYS)
    return Reading(
        number_at(entries["value"], f"{where}.value"),
        positive_at(entries["standard_uncertainty"], f"{where}.standard_uncertainty"),
    )


def _placed(call: Callable[[], Any], where: str) -> Any:
    """Refusals of the arithmetic at the path of the form."""
    try:
        with np.errstate(all="ignore"):  # what overflows is refused, with a sentence
            return call()
    except CalcError as error:
        raise CalcError(error.code, where, **error.values) from None


def _judged(
    name: str, where: str, found: Measured, liquid: Liquid, rule: Rule, is_open: bool
) -> PointResult:
    percent, u = float(found.percent), float(found.u_percent)
    if not u > 0:
        raise CalcError("beyond_numbers", where)
    dof = _even(float(found.degrees_of_freedom))
    lower, upper = float(rule.band.lower), float(rule.band.upper)
    verdict = judge(percent, u, dof, lower, upper)
    result = Result(
        name=name,
        flow_point=None,
        percent=percent,
        standard_uncertainty=u,
        degrees_of_freedom=dof,
        interval=(float(found.low), float(found.high)),
        limits=WORDS[int(verdict.side)],
        probability_in_band=float(verdict.probability_in_band),
        probability_of_limits=float(verdict.probability_of_limits),
        certainty=certainty(verdict, rule.wanted, rule.not_lean, is_open),
    )
    return PointResult(result, tuple((p.name, float(p.u_percent)) for p in found.parts), liquid)


def _even(dof: float) -> int:
    """Down to an even number, so that the answer can only be less sure for it."""
    return max(LEAST_DOF, 2 * int(min(dof, MOST_DOF) // 2))
