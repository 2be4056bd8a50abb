"""Which results are a deficiency, and in which class each is proposed. Pure: no database, no clock.

The plain value decides, whatever its certainty. The classes stand in `fixtures/findings`, each with
its source; a qualified person may change one with a reason.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings

from calc.acceptance import IN_BAND, LEAN, RICH
from calc.concentrate import DILUTED, OTHER_LIQUID, STRATIFIED, THICKENED
from itm.core.figures import figure, percent
from itm.registry.properties import PROPERTIES

FILE = Path(settings.BASE_DIR) / "fixtures" / "findings" / "classes.json"
SEVERITY = {"impairment": 1, "critical": 2, "noncritical": 3}
STRENGTH = {DILUTED: "diluted", OTHER_LIQUID: "other_liquid", THICKENED: "water_lost"}
WITHIN = "within"


@dataclass(frozen=True)
class Rule:
    severity: int
    ground: str
    source: str
    confidence: str
    answers: frozenset[str]


@dataclass(frozen=True)
class Found:
    """One thing wrong, by the rule that says so."""

    cause: str
    spot: str
    words: str
    rule: str

    @property
    def severity(self) -> int:
        return rules()[self.rule].severity

    @property
    def ground(self) -> str:
        return rules()[self.rule].ground


@dataclass(frozen=True)
class Late:
    """A duty that is overdue where that is a deficiency. The class is not ours: the row of its
    programme has it, or whoever said so for the site."""

    spot: str
    words: str
    severity: int
    ground: str
    cause: str = "overdue"


@cache
def rules() -> Mapping[str, Rule]:
    """By code, in the order of the file."""
    rows = json.loads(FILE.read_text(encoding="utf-8"))["rows"]
    return {
        row["code"]: Rule(
            SEVERITY[row["class"]], row["ground"], row["source"], row["confidence"],
            frozenset(row.get("answers", ())),
        )
        for row in rows
    }  # fmt: skip


def of_test(result: Mapping[str, Any], supply: Sequence[Mapping[str, Any]]) -> Iterator[Found]:
    """`result` as the engine gave it, `supply` as `records.evaluate.supply` works it out."""
    for point in result["flow_points"]:
        if point["limits"] in (LEAN, RICH):
            code = "lean" if point["limits"] == LEAN else "rich"
            yield Found(code, point["name"], _against(point, result), code)
    for line in supply:
        if line["minutes"] is not None and line["minutes"] < line["required_minutes"]:
            lasts = figure(line["minutes"], (line["required_minutes"],), fewest=1, most=6)
            words = (
                f"The concentrate lasts {lasts} min at {line['flow_point']}, "
                f"{line['required_minutes']:g} min are required"
            )
            yield Found("supply", line["flow_point"], words, "supply")


def _against(point: Mapping[str, Any], result: Mapping[str, Any]) -> str:
    band = point.get("band") or result["band"]
    edges = (band["lower"], band["upper"])
    sure = "" if point["certainty"] == "settled" else ", undecided"
    side = point["limits"]
    return (
        f"{side.capitalize()} at {point['name']}{sure}: {percent(point['percent'], edges)} %, "
        f"limits {edges[0]:g} to {edges[1]:g} %"
    )


def proved(result: Mapping[str, Any]) -> list[str]:
    """Flow points at which a result shows that the proportioner is right: inside the limits, and
    settled. What is undecided shows no fix."""
    points = result["flow_points"]
    return [p["name"] for p in points if p["limits"] == IN_BAND and p["certainty"] == "settled"]


def lasting(supply: Sequence[Mapping[str, Any]]) -> list[str]:
    """Flow points at which the concentrate lasts long enough."""
    known = [line for line in supply if line["minutes"] is not None]
    return [line["flow_point"] for line in known if line["minutes"] >= line["required_minutes"]]


def of_check(result: Mapping[str, Any]) -> Iterator[Found]:
    """Each property once, by the worst that any bottle says; then strength and layers."""
    said: dict[str, list[str]] = {}
    for row in result["properties"]:
        if row["statement"] != WITHIN:
            said.setdefault(row["property"], []).append(f"{row['sample']}: {row['statement']}")
    for name, words in said.items():
        heading = PROPERTIES[name].heading if name in PROPERTIES else name
        yield Found("check", name, f"{heading} outside its limits ({'; '.join(words)})", "property")
    for statement, code in STRENGTH.items():
        if any(row["statement"] == statement for row in result["strength"]):
            yield Found("check", "strength", f"The concentrate is {_strength(statement)}", code)
            break
    if any(row["statement"] == STRATIFIED for row in result["layers"]):
        yield Found("check", "layers", "The tank stands in layers", "stratified")


def _strength(statement: str) -> str:
    return {
        DILUTED: "diluted",
        OTHER_LIQUID: "not what was filled in, and not by water alone",
        THICKENED: "thickened: water is lost",
    }[statement]


def cleared(result: Mapping[str, Any]) -> list[str]:
    """What a check looked at and found right, by spot."""
    wrong = {found.spot for found in of_check(result)}
    seen = [row["property"] for row in result["properties"]]
    seen += ["strength"] if result["strength"] else []
    seen += ["layers"] if result["layers"] else []
    return [spot for spot in dict.fromkeys(seen) if spot not in wrong]


def of_answers(words: str, answers: Sequence[Mapping[str, Any]], spot: str, note: str) -> Found:
    """One task found out of order: by the worst of its answers, all of them named."""
    wrong = [one for one in answers if not one["in_order"]]
    codes = [code_of(one["key"]) for one in wrong] or ["inspection"]
    worst = min(codes, key=lambda code: rules()[code].severity)
    said = "; ".join(f"{one['label']}: {one['typed']}" for one in wrong) or note
    return Found("inspection", spot, f"{words}: {said}" if said else words, worst)


def code_of(answer: str) -> str:
    """The rule that names this answer, or the one for everything else."""
    return next((code for code, rule in rules().items() if answer in rule.answers), "inspection")


def source_of(ground: str) -> str:
    """Where the rule with this ground comes from, and how sure it is."""
    found = next((rule for rule in rules().values() if rule.ground == ground), None)
    return f"{found.source}; {found.confidence}" if found else ""
