"""Where to look when a test came out lean, rich or undecided: causes in the order to check them.

Common practice, no published source, and never a verdict: it stands on the page of a test and is
no part of the record. The rules are data in fixtures/hints; `calc.hints` puts them in order.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from calc import hints
from calc.acceptance import IN_BAND, LEAN, RICH
from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.records.evaluate import flow_of
from itm.records.judging import band_at
from itm.records.models import ProportioningTest
from itm.trends import queries
from itm.trends.statement import Statement, history, statement

SPEAKS = {
    "lean_at_lowest_flow_only": "lean at the lowest flow only",
    "lean_at_highest_flow_only": "lean at the highest flow only",
    "same_factor": "all flow points are off by the same factor",
    "falling": "the percent has been falling over the years",
    "step_after_fill": "the percent stepped when another lot was filled",
    "step_after_repair": "the percent stepped when something was adjusted or repaired",
    "first_sample_lean": "only the first sample of a flow point is lean",
    "last_sample_lean": "only the last sample of a flow point is lean",
}
NOTHING = 1e-6  # percent; a result at or below 0 % has no factor to any other


@dataclass(frozen=True)
class Look:
    """One place to look at, and what in this test speaks for it."""

    cause: str
    verdict: str
    speaks: str


@dataclass(frozen=True)
class WhereToLook:
    """`settled` is false where some flow point is undecided: then settling it comes first."""

    lines: tuple[Look, ...]
    sides: str
    settled: bool


def where_to_look(
    actor: Actor, test: ProportioningTest, form: dict[str, Any], now: datetime
) -> WhereToLook | None:
    """None where nothing is lean, rich or about to be, or where no rule knows the device.

    `form` is the record as the page shows it. The years before it are asked only where a cause
    hangs on them.
    """
    if form["evaluation"] is None or test.proportioner.kind not in hints.KINDS:
        return None
    result = form["evaluation"]["result"]
    flows = {run.flow_point.name: flow_of(run) for run in test.runs.all()}
    points = [point for point in result["flow_points"] if point["name"] in flows]
    if not points:
        return None
    sides = {point["name"]: side_of(point, band_at(point, result["band"])) for point in points}
    named = [side for side in (LEAN, RICH) if side in sides.values()]
    if not named:
        return None
    years = years_until(actor, test, now)
    known = {pattern for side in named for pattern in history(years, side)}
    found = hints.hints(
        test.proportioner.kind,
        [
            hints.FlowPoint(flows[p["name"]], max(p["percent"], NOTHING), sides[p["name"]])
            for p in points
        ],
        [*sorted(known), *odd_samples(result["samples"])],
    )
    if not found:
        return None
    return WhereToLook(
        lines=tuple(
            Look(one.cause, one.verdict, "; ".join(SPEAKS[name] for name in one.patterns))
            for one in found
        ),
        sides=" and ".join(named),
        settled=all(p["certainty"] == "settled" for p in points if sides[p["name"]] != IN_BAND),
    )


def years_until(actor: Actor, test: ProportioningTest, now: datetime) -> list[Statement | None]:
    """What the results of this device said up to this test; nothing for a reader who sees the
    record as its maker and no longer the device."""
    try:
        series = queries.series(actor, test.proportioner.key, now)
    except NotFound:
        return []
    events = [event for event in series.events if event.day <= test.tested_on]
    return [
        statement(
            replace(one, points=tuple(p for p in one.points if p.tested_on <= test.tested_on)),
            events,
        )
        for one in series.flow_points
    ]


def side_of(point: dict[str, Any], band: Mapping[str, Any]) -> str:
    """The limits of a flow point; of one that is in band but undecided, the side that its interval
    reaches farther beyond."""
    if point["limits"] != IN_BAND or point["certainty"] == "settled":
        return str(point["limits"])
    low, high = point["interval"]
    beyond = {LEAN: float(band["lower"]) - low, RICH: high - float(band["upper"])}
    side = max(beyond, key=lambda name: beyond[name])
    return side if beyond[side] > 0 else IN_BAND


def odd_samples(samples: Sequence[dict[str, Any]]) -> list[str]:
    """Patterns within a flow point; samples stand in the order in which they were caught."""
    found = []
    for _, group in groupby(samples, key=lambda sample: sample["flow_point"]):
        lean = [sample["limits"] == LEAN for sample in group]
        if len(lean) < 2 or sum(lean) != 1:
            continue
        found += ["first_sample_lean"] if lean[0] else []
        found += ["last_sample_lean"] if lean[-1] else []
    return found
