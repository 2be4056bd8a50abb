"""The acceptance test that later tests of the same device and flow point are compared with."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from calc.acceptance import IN_BAND, SETTLED
from itm.core.figures import day
from itm.records.models import ProportioningTest
from itm.records.results import in_force
from itm.registry.changing_over import changed_over_on
from itm.registry.models import Proportioner

STEP = Decimal("0.001")  # percent; to a tenth of the finest step that a report prints


@dataclass(frozen=True)
class Baseline:
    """What one flow point gave when the device was accepted."""

    percent: Decimal
    tested_on: date
    number: int  # of the sealed record at its site

    @property
    def source(self) -> str:
        return f"acceptance test of {day(self.tested_on)}, sealed record {self.number}"


def proven(limits: str, certainty: str) -> bool:
    """Whether a result of an acceptance test may be compared with: in band, and settled."""
    return limits == IN_BAND and certainty == SETTLED


def baselines(proportioner: Proportioner) -> dict[str, Baseline]:
    """By flow point: the latest sealed acceptance test in force that proved it.

    A changeover leaves none: what was proved before was proved with another concentrate.
    """
    tests = in_force(
        ProportioningTest.objects.filter(
            proportioner=proportioner, purpose=ProportioningTest.Purpose.ACCEPTANCE
        )
    )
    if anew := changed_over_on(proportioner):
        tests = tests.filter(tested_on__gte=anew)
    found: dict[str, Baseline] = {}
    for test in tests.select_related("seal").prefetch_related("evaluations"):
        evaluations = list(test.evaluations.all())
        points: list[dict[str, Any]] = evaluations[-1].result["flow_points"] if evaluations else []
        for point in points:
            if proven(point["limits"], point["certainty"]):
                percent = Decimal(repr(point["percent"])).quantize(STEP)
                found[point["name"]] = Baseline(percent, test.tested_on, test.seal.number)
    return found
