"""What would settle an undecided answer: the cheapest step that the result's own arithmetic allows.

Every step is tried on the interval of the engine before it is named, with the scatter as it was
found. It says what would do if the new bottles fall as the old ones did; it promises nothing.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from calc.acceptance import Band, decimal_as_written, judge
from calc.inverse import instrument_sd
from calc.standards import as_made_percent

MOST_BOTTLES = 4  # more bottles than that nobody makes on the day, own choice
# Finest display a crew can get, in the unit of the reading; common practice, no source.
FINEST_STEP = {"refractive_index": 1e-5, "brix": 0.01, "conductivity": 0.01}
COUNT = {1: "one more", 2: "two more", 3: "three more", 4: "four more"}


@dataclass(frozen=True)
class Situation:
    """One flow point on its line; percents by volume, `sd` in the unit of the reading."""

    percent: float
    band: Band
    wanted: float
    bottles: int
    line_percents: tuple[float, ...]
    slope: float
    sd: float

    @property
    def probability(self) -> float:
        """That the stated limits are right, as the engine reckons it."""
        n = len(self.line_percents)
        mean = sum(self.line_percents) / n
        spread = sum((x - mean) ** 2 for x in self.line_percents)
        u = self.sd / self.slope * math.sqrt(self._lever(n, mean, spread))
        return float(judge(self.percent, u, n - 2, self.band).probability_of_limits)

    def _lever(self, n: int, mean: float, spread: float) -> float:
        return 1 / self.bottles + 1 / n + (self.percent - mean) ** 2 / spread

    def with_standards(self, more: int) -> "Situation":
        return replace(self, line_percents=self.line_percents + (self.percent,) * more)

    def with_samples(self, more: int) -> "Situation":
        return replace(self, bottles=self.bottles + more)

    @property
    def settled(self) -> bool:
        return self.probability >= self.wanted


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
    now = _situation(inputs, result, point, wanted)
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
    finer = step / 10  # taken to scatter by a whole step of its own, which is more than rounding
    while finer >= finest * 0.99:
        if replace(now, sd=max(instrument_sd(finer, repeatability), finer)).settled:
            return f"{finer:.10f}".rstrip("0").rstrip(".")
        finer /= 10
    return ""


def _too_near(now: Situation) -> str:
    edge = min(float(now.band.lower), float(now.band.upper), key=lambda e: abs(e - now.percent))
    return (
        f"No few bottles would settle it: it lies {abs(edge - now.percent):.2g} points from the "
        f"limit of {edge:g} %. Take a method that scatters less, in fresh water conductivity."
    )


def _situation(
    inputs: dict[str, Any], result: dict[str, Any], point: dict, wanted: float
) -> Situation:
    percents = [_percent(standard) for standard in inputs["standards"]]
    if inputs.get("include_water", True):
        percents = [0.0, *percents]
    own = [s for s in inputs["samples"] if s.get("flow_point", s["name"]) == point["name"]]
    blank = Situation(
        percent=point["percent"],
        band=Band(*(decimal_as_written(result["band"][e], e) for e in ("lower", "upper"))),
        wanted=wanted,
        bottles=len(own),
        line_percents=tuple(percents),
        slope=abs(result["line"]["slope"]),
        sd=1.0,
    )
    n = len(percents)
    mean = sum(percents) / n
    lever = blank._lever(n, mean, sum((x - mean) ** 2 for x in percents))
    # The scatter that the engine used, taken back out of its own standard uncertainty.
    return replace(blank, sd=point["standard_uncertainty"] * blank.slope / math.sqrt(lever))


def _percent(standard: dict[str, Any]) -> float:
    if standard.get("percent") is not None:
        return float(standard["percent"])
    return as_made_percent(standard["concentrate_ml"], standard["water_ml"])
