"""Flow points of a test that were left out as it was prepared, and may be run after all."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from itm.records import queries
from itm.records.bench_sheet import closed
from itm.records.direct_forms import of_method
from itm.records.merge import shown
from itm.records.models import DirectRun, ProportioningTest
from itm.records.prepared_keys import run_key
from itm.records.rule import own_bands
from itm.registry import criteria
from itm.registry.models import FlowPoint

# Each of its flow points is frozen with a baseline of its own, which only the server finds.
ON_THE_PAGE = ProportioningTest.Method.OTHER_LIQUID


def points_left(tests: Sequence[ProportioningTest]) -> dict[int, list[dict[str, Any]]]:
    """By primary key of the test. Where its criterion compares with an acceptance test, only those
    that have one: the others are refused, and the page of the test says why."""
    open_ones = [test for test in tests if not closed(test) and test.method != ON_THE_PAGE]
    left = queries.points_left(open_ones)
    return {test.pk: _of_test(test, left[test.pk]) for test in open_ones}


def _of_test(test: ProportioningTest, points: list[FlowPoint]) -> list[dict[str, Any]]:
    own: dict[str, dict[str, str]] = {}
    if compares := bool(points) and criteria.needs_baseline(test.criterion):
        found, _ = own_bands(test.proportioner, test.criterion, points)
        own = {one.name: _texts(one.band.lower, one.band.upper) for one in found}
    return [
        {
            "flow_point": str(point.key),
            "run": str(run_key(test.key, point)),
            "name": point.name,
            "flow": point.flow,
            "flow_typed": point.flow_typed,
            "band": own.get(point.name),
            "measured": _nothing_read(test) if test.is_direct else None,
        }
        for point in points
        if not compares or point.name in own
    ]


def _texts(lower: Any, upper: Any) -> dict[str, str]:
    return {
        name: f"{Decimal(str(value)).normalize():f}"
        for name, value in (("lower", lower), ("upper", upper))
    }


def _nothing_read(test: ProportioningTest) -> dict[str, Any]:
    _, names = of_method(test.method)
    nothing = DirectRun()
    texts: dict[str, Any] = {name: shown(nothing, name) for name in names}
    return {**texts, "foam": "", "foam_percent": None, "foam_flow": None, "foam_words": ""}
