"""What would settle an undecided answer: the cheapest step that does so by the engine itself.

Every step is tried on the engine before it is named, with new bottles that read what the line says
there. It says what would do if they fall so; it promises nothing.
"""

import math
from collections.abc import Mapping
from typing import Any

import calc
from calc.inverse import instrument_sd, reading_width
from itm.records.advice_direct import Step, direct_steps
from itm.records.judging import band_at, form_at, is_direct, outcomes_of
from itm.records.rule import left_by_lean

MOST_BOTTLES = 4  # more bottles than that nobody makes on the day, own choice
# Finest display a crew can get, in the unit of the reading; common practice, no source.
FINEST_STEP = {"refractive_index": 1e-5, "brix": 0.01, "conductivity": 0.01}
COUNT = {1: "one more", 2: "two more", 3: "three more", 4: "four more"}


def what_would_settle(inputs: dict[str, Any], result: dict[str, Any]) -> dict[str, str]:
    """A sentence for each undecided flow point, by its name."""
    wanted = inputs.get("verdict_probability")
    if wanted is None:
        return {}
    return {
        point["name"]: _advice(inputs, result, point, wanted)
        for point in result["flow_points"]
        if point["certainty"] == "undecided"
    }


def _advice(inputs: dict[str, Any], result: dict[str, Any], point: dict, wanted: float) -> str:
    band = band_at(point, result["band"])
    lean = left_by_lean(point, band, inputs.get("lean_probability"))
    if point["probability_of_limits"] >= wanted and not lean:
        return "The chance would do, but a warning below leaves it open: mend that first."
    direct = is_direct(inputs)
    steps = direct_steps(inputs, point["name"]) if direct else _steps(inputs, result, point)
    outcomes = outcomes_of([form_at(step.inputs, point["name"]) for step in steps])
    for step, outcome in zip(steps, outcomes, strict=True):
        if _settles(outcome, point["name"]):
            return f"Would settle it: {step.words}"
    return _too_near(band, point["percent"], direct)


def _settles(outcome: Any, name: str) -> bool:
    if isinstance(outcome, calc.CalcError):
        return False
    points = outcome.as_dict()["flow_points"]
    return any(p["name"] == name and p["certainty"] == "settled" for p in points)


def _steps(inputs: dict[str, Any], result: dict[str, Any], point: dict) -> list[Step]:
    """What a crew could do, the cheapest first: bench, instrument, another discharge."""
    near, name = f"{point['percent']:.1f} %", point["name"]
    new = _reading(inputs, result["line"], point["percent"])
    tries = range(1, MOST_BOTTLES + 1)
    standards = {n: _with_standards(inputs, point["percent"], new, n) for n in tries}
    return [
        Step(
            f"two more readings of every bottle, if they agree within {_step(inputs)}.",
            _with_repeats(inputs),
        ),
        *(Step(f"{COUNT[n]} standard{'s'[: n > 1]} near {near}.", standards[n]) for n in tries),
        *_finer_displays(inputs, result["line"]["residual_sd"]),
        *(
            Step(
                f"{COUNT[n]} sample bottle{'s'[: n > 1]} at this flow point.",
                _with_samples(inputs, name, new, n),
            )
            for n in tries
        ),
        *(
            Step(
                f"{COUNT[n]} standards near {near} and as many sample bottles at this flow point.",
                _with_samples(standards[n], name, new, n),
            )
            for n in tries
        ),
    ]


def _step(inputs: dict[str, Any]) -> str:
    """The least that the instrument tells apart, in words."""
    by_eye = inputs["instrument"].get("interpolated")
    return "the part of a division that is read by eye" if by_eye else "a step of the display"


def _reading(inputs: dict[str, Any], line: dict, percent: float) -> list[dict[str, Any]]:
    """What a bottle of this percent would show, as warm as the first standard."""
    first = inputs["standards"][0]["readings"][0]
    value = line["intercept"] + line["slope"] * percent
    return [{"value": value, "temperature_c": first.get("temperature_c")}]


def _with_repeats(inputs: dict[str, Any]) -> dict[str, Any]:
    """Every bottle read twice more, half a step to each side of what it has shown."""
    half = inputs["instrument"]["resolution"] / 2

    def again(readings: list[dict[str, Any]]) -> list[dict[str, Any]]:
        last = readings[-1]
        return [*readings, *({**last, "value": last["value"] + way * half} for way in (-1, 1))]

    def repeated(bottles: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [{**bottle, "readings": again(bottle["readings"])} for bottle in bottles]

    return {
        **inputs,
        "water": again(inputs["water"]),
        "standards": repeated(inputs["standards"]),
        "samples": repeated(inputs["samples"]),
    }


def _with_standards(
    inputs: dict[str, Any], percent: float, new: list[dict[str, Any]], more: int
) -> dict[str, Any]:
    added = [{"percent": percent, "readings": new} for _ in range(more)]
    return {**inputs, "standards": [*inputs["standards"], *added]}


def _with_samples(
    inputs: dict[str, Any], flow_point: str, new: list[dict[str, Any]], more: int
) -> dict[str, Any]:
    taken = {sample["name"] for sample in inputs["samples"]}
    free = (name for i in range(len(taken) + more) if (name := f"new {i}") not in taken)
    added = [
        {"name": name, "flow_point": flow_point, "readings": new}
        for name, _ in zip(free, range(more), strict=False)
    ]
    return {**inputs, "samples": [*inputs["samples"], *added]}


def _finer_displays(inputs: dict[str, Any], residual_sd: float) -> list[Step]:
    """Usual steps of displays, the coarsest first, where what can be read and not the scatter
    rules. Who reads a scale by eye takes another instrument, and is told so."""
    instrument, finest = inputs["instrument"], FINEST_STEP[inputs["method"]]
    step, repeatability = instrument["resolution"], instrument["repeatability"] or 0.0
    width = reading_width(step, bool(instrument.get("interpolated")))
    scatters = residual_sd > instrument_sd(width, repeatability)
    if scatters or width / math.sqrt(12) <= repeatability:
        return []
    steps, by_eye = [], bool(instrument.get("interpolated"))
    finer = step / 10
    while finer >= finest * 0.99:
        shown = f"{finer:.10f}".rstrip("0").rstrip(".")
        hides = "the part of a division that is read by eye" if by_eye else "the step of this one"
        words = f"a display with steps of {shown} or finer: {hides} hides the answer."
        steps.append(Step(words, {**inputs, "instrument": display(instrument, finer)}))
        finer /= 10
    return steps


def display(instrument: dict[str, Any], step: float) -> dict[str, Any]:
    """The same instrument with a display in place of what is read by eye between marks."""
    return {**{k: v for k, v in instrument.items() if k != "interpolated"}, "resolution": step}


def _too_near(band: Mapping[str, float], percent: float, direct: bool) -> str:
    edge = min(band["lower"], band["upper"], key=lambda e: abs(e - percent))
    near = f"it lies {abs(edge - percent):.2g} points from the limit of {edge:g} %"
    if direct:
        return f"No usual meter and no longer run would settle it: {near}."
    return (
        f"No few bottles would settle it: {near}. Take a method that scatters less, in fresh water "
        "conductivity."
    )
