"""The engine on one test, also where each flow point has limits of its own.

The engine takes one band a test. A criterion that compares with the acceptance test gives each flow
point its own: then the whole bench is evaluated once for each of them, and of every run only what
belongs to its flow point is kept.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

import calc
from calc.canonical import digest
from calc.direct_form import DIRECT_METHODS, DirectEvaluation, evaluate_direct

OWN_LIMITS = "flow_point_limits"  # beside the engine's keys in the inputs: name → lower, upper
ONE = re.compile(r"^\$\.(samples|flow_points)\[(\d+)\]")


def form_at(inputs: Mapping[str, Any], flow_point: str) -> dict[str, Any]:
    """The engine's form under the limits of one flow point."""
    form = {key: value for key, value in inputs.items() if key != OWN_LIMITS}
    own = inputs.get(OWN_LIMITS, {}).get(flow_point)
    return form | {"criterion": own} if own else form


def is_direct(inputs: Mapping[str, Any]) -> bool:
    """Whether the percents of a test come from flows or levels, and from no bench."""
    return inputs["method"] in DIRECT_METHODS


def outcome_of(form: Mapping[str, Any]) -> calc.Evaluation | DirectEvaluation:
    """By the engine of its method. Raises calc.CalcError."""
    return evaluate_direct(form) if is_direct(form) else calc.evaluate(form)


def outcomes_of(forms: Sequence[Mapping[str, Any]]) -> list[Any]:
    """Of forms of one test, each an evaluation or a calc.CalcError."""
    if not is_direct(forms[0]):
        return list(calc.evaluate_many(forms))
    found: list[Any] = []
    for form in forms:
        try:
            found.append(evaluate_direct(form))
        except calc.CalcError as refusal:
            found.append(refusal)
    return found


def _names(inputs: Mapping[str, Any]) -> list[str]:
    if is_direct(inputs):
        return [point["name"] for point in inputs["flow_points"]]
    return list(dict.fromkeys(sample["flow_point"] for sample in inputs["samples"]))


def judge(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """The result of stored inputs as plain data. Raises calc.CalcError where the engine refuses."""
    if OWN_LIMITS not in inputs:
        return outcome_of(inputs).as_dict()
    runs: dict[str, dict[str, Any]] = {}
    names = _names(inputs)
    outcomes = outcomes_of([form_at(inputs, name) for name in names])
    for name, outcome in zip(names, outcomes, strict=True):
        if isinstance(outcome, calc.CalcError):
            raise outcome
        runs[name] = outcome.as_dict()
    return _joined(inputs, runs)


def band_at(point: Mapping[str, Any], otherwise: Mapping[str, Any]) -> Mapping[str, Any]:
    """Limits that a result was judged by: its own, or those of its test."""
    band: Mapping[str, Any] = point.get("band") or otherwise
    return band


def edges_of(point: Mapping[str, Any], otherwise: tuple[float, float]) -> tuple[float, float]:
    """What a percent must not be rounded across."""
    band = point.get("band")
    return (band["lower"], band["upper"]) if band else otherwise


def _joined(inputs: Mapping[str, Any], runs: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    first = next(iter(runs.values()))
    bands = [run["band"] for run in runs.values()]
    mixing = first["mixing"]
    if mixing is not None:
        mixing = mixing | {
            "flow_points": [
                point
                for name, run in runs.items()
                for point in run["mixing"]["flow_points"]
                if point["name"] == name
            ]
        }
    return first | {
        "band": {
            "lower": min(band["lower"] for band in bands),
            "upper": max(band["upper"] for band in bands),
        },
        "samples": _own(runs, "samples", "flow_point"),
        "flow_points": _own(runs, "flow_points", "name"),
        "mixing": mixing,
        "warnings": _warnings(runs),
        "inputs_digest": digest(dict(inputs)),
    }


def _own(runs: Mapping[str, dict[str, Any]], kind: str, key: str) -> list[dict[str, Any]]:
    """In the order of the engine, so that the paths of warnings still lead to them."""
    first = next(iter(runs.values()))[kind]
    return [
        runs[one[key]][kind][i] | {"band": runs[one[key]]["band"]} for i, one in enumerate(first)
    ]


def _warnings(runs: Mapping[str, dict[str, Any]]) -> list[dict[str, str]]:
    """Those of the bench once, those of a sample or flow point from the run that it belongs to."""
    found: dict[tuple[str, str], dict[str, str]] = {}
    for name, run in runs.items():
        for warned in run["warnings"]:
            one = ONE.match(warned["where"])
            if one is not None:
                kind, at = one[1], run[one[1]][int(one[2])]
                if at["flow_point" if kind == "samples" else "name"] != name:
                    continue
            found.setdefault((warned["code"], warned["where"]), warned)
    return list(found.values())
