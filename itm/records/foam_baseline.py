"""The test with foam that a run with another liquid is compared with.

Another liquid tells whether the device changed since, so without a sealed test with concentrate at
the same flow point there is nothing to compare: no percent, and no record.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from itm.core.errors import Refused
from itm.core.figures import day
from itm.records.evaluate import flow_of
from itm.records.models import DirectRun, ProportioningTest
from itm.records.results import in_force
from itm.registry.changing_over import changed_over_on
from itm.registry.models import FlowPoint, Proportioner

Method = ProportioningTest.Method


@dataclass(frozen=True)
class FoamResult:
    """One flow point of a sealed test with concentrate."""

    record: UUID
    tested_on: date
    number: int
    percent: float
    standard_uncertainty: float
    degrees_of_freedom: float
    flow: float  # m³/s of solution

    @property
    def name(self) -> str:
        return f"proportioning test of {day(self.tested_on)}, sealed record {self.number}"

    def columns(self) -> dict[str, Any]:
        return {
            "foam_record": self.record, "foam_name": self.name, "foam_on": self.tested_on,
            "foam_percent": self.percent, "foam_uncertainty": self.standard_uncertainty,
            "foam_degrees_of_freedom": self.degrees_of_freedom, "foam_flow": self.flow,
        }  # fmt: skip


def foam_results(proportioner: Proportioner) -> dict[str, FoamResult]:
    """By flow point: the latest sealed test in force that was run with concentrate. A changeover
    leaves none, and as left of a day goes before as found, because the device stayed so."""
    tests = in_force(ProportioningTest.objects.filter(proportioner=proportioner))
    tests = tests.exclude(method=Method.OTHER_LIQUID)
    if anew := changed_over_on(proportioner):
        tests = tests.filter(tested_on__gte=anew)
    found: dict[str, FoamResult] = {}
    rows = tests.select_related("seal").prefetch_related("evaluations", "runs__flow_point")
    for test in rows:
        evaluations = list(test.evaluations.all())
        points: list[dict[str, Any]] = evaluations[-1].result["flow_points"] if evaluations else []
        flows = {run.flow_point.name: flow_of(run) for run in test.runs.all()}
        for point in points:
            if point["percent"] > 0 and point["name"] in flows:
                found[point["name"]] = FoamResult(
                    record=test.key, tested_on=test.tested_on, number=test.seal.number,
                    percent=point["percent"],
                    standard_uncertainty=point["standard_uncertainty"],
                    degrees_of_freedom=point["degrees_of_freedom"],
                    flow=flows[point["name"]],
                )  # fmt: skip
    return found


def frozen_foam(
    proportioner: Proportioner, points: Sequence[FlowPoint], liquid: str, liquid_name: str
) -> dict[str, dict[str, Any]]:
    """Columns of each run at Prepare. Raises Refused foam_baseline_missing."""
    known = foam_results(proportioner)
    if missing := [point.name for point in points if point.name not in known]:
        raise Refused(
            "foam_baseline_missing",
            "Another liquid has no percent of its own: it is compared with a sealed test with "
            f"concentrate at the same flow, and none is on record at “{'”, “'.join(missing)}”. "
            "Test with concentrate first, or leave these flow points out.",
            "method",
        )
    return {
        point.name: known[point.name].columns()
        | _beside(point, known[point.name], liquid, liquid_name)
        for point in points
    }


def _beside(point: FlowPoint, foam: FoamResult, liquid: str, liquid_name: str) -> dict[str, Any]:
    """What the same liquid read beside the same foam, once typed, from the latest sealed record
    that says so."""
    rows = DirectRun.objects.filter(
        run__flow_point=point, foam_record=foam.record, run__test__direct__liquid=liquid,
        run__test__direct__liquid_name=liquid_name,
        run__test__in=in_force(ProportioningTest.objects.filter(method=Method.OTHER_LIQUID)),
    )  # fmt: skip
    last = rows.order_by("run__test__tested_on", "pk").last()
    if last is None:
        return {}
    names = (
        "beside_on", "beside_source", "beside_liquid_flow", "beside_liquid_flow_typed",
        "beside_second_flow", "beside_second_flow_typed",
    )  # fmt: skip
    return {name: getattr(last, name) for name in names}
