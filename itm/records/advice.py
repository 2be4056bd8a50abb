"""What would settle an undecided answer: the cheapest step that the result's own arithmetic allows.

Every step is tried on the engine before it is named, with new bottles that read what the line and
the mean of the sample say. It says what would do if they fall so; it promises nothing.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import calc
from calc.inverse import instrument_sd

MOST_BOTTLES = 4  # more bottles than that nobody makes on the day, own choice
# Finest display a crew can get, in the unit of the reading; common practice, no source.
FINEST_STEP = {"refractive_index": 1e-5, "brix": 0.01, "conductivity": 0.01}
COUNT = {1: "one more", 2: "two more", 3: "three more", 4: "four more"}


@dataclass(frozen=True)
class Situation:
    """One flow point of a test, and the test as it might have been; percent by volume."""

    inputs: dict[str, Any]
    name: str
    percent: float
    reading: float  # that the line has at this percent, unit of the reading
    temperature_c: float | None
    band: tuple[float, float]

    @property
    def settled(self) -> bool:
        try:
            points = calc.evaluate(self.inputs).flow_points
        except calc.CalcError:
            return False
        return any(p.name == self.name and p.certainty == "settled" for p in points)

    def _reading(self) -> list[dict[str, Any]]:
        return [{"value": self.reading, "temperature_c": self.temperature_c}]

    def with_standards(self, more: int) -> "Situation":
        new = [{"percent": self.percent, "readings": self._reading()} for _ in range(more)]
        return self._with(standards=[*self.inputs["standards"], *new])

    def with_samples(self, more: int) -> "Situation":
        taken = {sample["name"] for sample in self.inputs["samples"]}
        free = (f"new {i}" for i in range(len(taken) + more))
        names = [name for name in free if name not in taken][:more]
        new = [
            {"name": name, "flow_point": self.name, "readings": self._reading()} for name in names
        ]
        return self._with(samples=[*self.inputs["samples"], *new])

    def with_resolution(self, step: float) -> "Situation":
        return self._with(instrument={**self.inputs["instrument"], "resolution": step})

    def _with(self, **changes: Any) -> "Situation":
        return replace(self, inputs={**self.inputs, **changes})


def what_would_settle(inputs: dict[str, Any], result: dict[str, Any]) -> dict[str, str]:
    """A sentence for each undecided flow point, by its name."""
    wanted = inputs.get("verdict_probability")
    if wanted is None:
        return {}
    return {
        point["name"]: _step(inputs, result, point, wanted)
        for point in result["flow_points"]
        if point["certainty"] == "undecided"
    }


def _step(inputs: dict[str, Any], result: dict[str, Any], point: dict, wanted: float) -> str:
    if point["probability_of_limits"] >= wanted:
        return "The chance would do, but a warning below leaves it open: mend that first."
    now = _situation(inputs, result, point)
    step = next(_steps(now, inputs, result), "")
    return f"Would settle it: {step}" if step else _too_near(now)


def _steps(now: Situation, inputs: dict[str, Any], result: dict[str, Any]) -> Iterator[str]:
    """The steps that would do, the cheapest first: bench, instrument, another discharge."""
    near = f"{now.percent:.1f} %"
    tries = range(1, MOST_BOTTLES + 1)
    for more in tries:
        if now.with_standards(more).settled:
            yield f"{COUNT[more]} standard{'s'[: more > 1]} near {near}."
    if step := _display(now, inputs, result["line"]["residual_sd"]):
        yield f"a display with steps of {step} or finer: the step of this one hides the answer."
    for more in tries:
        if now.with_samples(more).settled:
            yield f"{COUNT[more]} sample bottle{'s'[: more > 1]} at this flow point."
    for more in tries:
        if now.with_standards(more).with_samples(more).settled:
            yield (
                f"{COUNT[more]} standards near {near} and as many sample bottles at "
                "this flow point."
            )


def _display(now: Situation, inputs: dict[str, Any], residual_sd: float) -> str:
    """The coarsest usual step that would settle it, where the display and not the scatter rules."""
    instrument, finest = inputs["instrument"], FINEST_STEP[inputs["method"]]
    step, repeatability = instrument["resolution"], instrument["repeatability"] or 0.0
    if residual_sd > instrument_sd(step, repeatability) or step / math.sqrt(12) <= repeatability:
        return ""
    finer = step / 10
    while finer >= finest * 0.99:
        if now.with_resolution(finer).settled:
            return f"{finer:.10f}".rstrip("0").rstrip(".")
        finer /= 10
    return ""


def _too_near(now: Situation) -> str:
    edge = min(now.band, key=lambda e: abs(e - now.percent))
    return (
        f"No few bottles would settle it: it lies {abs(edge - now.percent):.2g} points from the "
        f"limit of {edge:g} %. Take a method that scatters less, in fresh water conductivity."
    )


def _situation(inputs: dict[str, Any], result: dict[str, Any], point: dict) -> Situation:
    line = result["line"]
    return Situation(
        inputs=inputs,
        name=point["name"],
        percent=point["percent"],
        reading=line["intercept"] + line["slope"] * point["percent"],
        temperature_c=inputs["standards"][0]["readings"][0].get("temperature_c"),
        band=(result["band"]["lower"], result["band"]["upper"]),
    )
