"""What an evaluation gives back: frozen values, and the same as plain data for JSON."""

from dataclasses import dataclass
from typing import Any

from calc.errors import Warned


@dataclass(frozen=True, slots=True)
class FittedLine:
    """The line that was used: reading = intercept + slope × percent."""

    slope: float
    intercept: float
    r: float
    residual_sd: float
    degrees_of_freedom: int

    def as_dict(self) -> dict[str, Any]:
        return {
            "slope": self.slope,
            "intercept": self.intercept,
            "r": self.r,
            "residual_sd": self.residual_sd,
            "degrees_of_freedom": self.degrees_of_freedom,
        }


@dataclass(frozen=True, slots=True)
class Result:
    """One sample or one flow point; percent by volume throughout."""

    name: str
    flow_point: str | None  # None for the result of a flow point itself
    percent: float
    standard_uncertainty: float
    degrees_of_freedom: int  # even, 4 to 20, of Student's t with that standard deviation
    interval: tuple[float, float]  # two-sided 95 %, twice the standard uncertainty to each side
    limits: str  # in band | lean | rich
    probability_in_band: float
    probability_of_limits: float
    certainty: str  # settled | undecided

    def as_dict(self) -> dict[str, Any]:
        place = {} if self.flow_point is None else {"flow_point": self.flow_point}
        return {
            "name": self.name,
            **place,
            "percent": self.percent,
            "standard_uncertainty": self.standard_uncertainty,
            "degrees_of_freedom": self.degrees_of_freedom,
            "interval": list(self.interval),
            "limits": self.limits,
            "probability_in_band": self.probability_in_band,
            "probability_of_limits": self.probability_of_limits,
            "certainty": self.certainty,
        }


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Whether bottles scatter about the line more than their own repeats explain."""

    f: float  # variance ratio
    probability: float  # of so large a ratio while nothing is wrong

    def as_dict(self) -> dict[str, Any]:
        return {"f": self.f, "probability": self.probability}


@dataclass(frozen=True, slots=True)
class ByMixing:
    """One flow point read off water and undiluted concentrate alone, % by volume."""

    name: str
    percent: float
    limits: str
    reverses: bool  # on another side of the band than the line through the standards has it

    def as_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "percent": self.percent,
            "limits": self.limits,
            "reverses": self.reverses,
        }


@dataclass(frozen=True, slots=True)
class Mixing:
    """The slope known a second way, from water and undiluted concentrate."""

    verdict: str  # agree | standards too strong | standards too weak
    ratio: float  # slope of the standards over slope by mixing
    standard_uncertainty: float  # of the ratio
    share_left: tuple[float, float, float] | None  # of 1 in the tank if it is diluted; low, high
    flow_points: tuple[ByMixing, ...]

    def as_dict(self) -> dict[str, Any]:
        share = self.share_left
        return {
            "verdict": self.verdict,
            "ratio": self.ratio,
            "standard_uncertainty": self.standard_uncertainty,
            "tank_share": None if share is None else {"share": share[0], "interval": [*share[1:]]},
            "flow_points": [point.as_dict() for point in self.flow_points],
        }


@dataclass(frozen=True, slots=True)
class Evaluation:
    """The evaluation of one test; `as_dict` is the form that is printed and stored."""

    line: FittedLine
    band: tuple[float, float]
    samples: tuple[Result, ...]
    flow_points: tuple[Result, ...]
    lack_of_fit: LackOfFit | None  # None without repeated readings
    mixing: Mixing | None  # None without undiluted concentrate, or where it tells nothing
    warnings: tuple[Warned, ...]
    engine_version: str
    inputs_digest: str

    def as_dict(self) -> dict[str, Any]:
        return {
            "line": self.line.as_dict(),
            "band": {"lower": self.band[0], "upper": self.band[1]},
            "samples": [result.as_dict() for result in self.samples],
            "flow_points": [result.as_dict() for result in self.flow_points],
            "lack_of_fit": self.lack_of_fit.as_dict() if self.lack_of_fit else None,
            "mixing": self.mixing.as_dict() if self.mixing else None,
            "warnings": [warned.as_dict() for warned in self.warnings],
            "engine_version": self.engine_version,
            "inputs_digest": self.inputs_digest,
        }
