"""The results that count, and the latest one of each device."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from itm.core.figures import day, percent
from itm.records.models import Evaluation, ProportioningTest

State = ProportioningTest.State


@dataclass(frozen=True)
class FlowPointResult:
    """One flow point of one record; figures as the engine gave them."""

    name: str
    percent: float
    interval: tuple[float, float] | None
    limits: str
    certainty: str
    standard_uncertainty: float | None = None
    band: tuple[float, float] | None = None  # its own, where the criterion gives it one

    def shown(self, band: tuple[float, float]) -> str:
        return percent(self.percent, self.band or band)


@dataclass(frozen=True)
class LatestResult:
    test: ProportioningTest
    flow_points: tuple[FlowPointResult, ...]

    @property
    def tested_on(self) -> str:
        return day(self.test.tested_on)

    @property
    def proves(self) -> bool:
        return self.test.limits == "in band" and self.test.certainty == "settled"

    @property
    def figures(self) -> list[tuple[str, str]]:
        """(flow point, percent) with as many digits as agree with the verdict."""
        band = band_of(self.test)
        return [(point.name, point.shown(band)) for point in self.flow_points]


def results_of(tests: Iterable[int]) -> dict[int, tuple[FlowPointResult, ...]]:
    """Flow points of the last evaluation of each test, one query."""
    rows = Evaluation.objects.filter(test__in=list(tests)).order_by("test_id", "pk")
    return {test: read_off(result) for test, result in rows.values_list("test_id", "result")}


def read_off(result: dict[str, Any]) -> tuple[FlowPointResult, ...]:
    return tuple(
        FlowPointResult(
            name=point["name"],
            percent=point["percent"],
            interval=tuple(point["interval"]) if point.get("interval") else None,
            limits=point["limits"],
            certainty=point["certainty"],
            standard_uncertainty=point.get("standard_uncertainty"),
            band=(point["band"]["lower"], point["band"]["upper"]) if "band" in point else None,
        )
        for point in result.get("flow_points", [])
        if point.get("percent") is not None
    )


def band_of(test: ProportioningTest) -> tuple[float, float]:
    return float(test.band_lower), float(test.band_upper)
