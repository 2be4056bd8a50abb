"""Where to look when a proportioner is lean or rich: causes in the order to check them.

Common practice, no published source; the rules are data in fixtures/hints. A hint is never a
verdict and never a diagnosis: the maker's manual and licensed people on site decide.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from calc.acceptance import LEAN, RICH
from calc.arguments import positive
from calc.entries import choice_at, keys_at, list_at, load, text_at
from calc.errors import CalcError, quoted

FILE = Path(__file__).parents[1] / "fixtures" / "hints" / "causes.json"
ANY = "any"
KINDS = (
    "bladder_tank",
    "pressure_tank",
    "balanced_pressure",
    "in_line_balanced",
    "positive_displacement",
    "water_motor",
    "electronic",
    "line_eductor",
    "around_the_pump",
    "premix",
)
FROM_FLOWS = ("lean_at_lowest_flow_only", "lean_at_highest_flow_only", "same_factor")
HISTORY = (
    "falling",
    "step_after_fill",
    "step_after_repair",
    "first_sample_lean",
    "last_sample_lean",
)
SAME_FACTOR = 1.05  # largest percent over smallest, own choice: within the scatter of a good test


@dataclass(frozen=True, slots=True)
class FlowPoint:
    """Result of one flow point: its flow (any unit, the same for all) and its limits."""

    flow: float
    percent: float
    limits: str  # in band | lean | rich


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause, and the patterns that speak for it in this test."""

    cause: str
    verdict: str  # lean | rich
    patterns: tuple[str, ...]
    confidence: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the data. With `only_with` it is shown only where one of them was seen."""

    kinds: tuple[str, ...]
    verdict: str
    look: str
    cause: str
    only_with: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rules:
    """All rows: what each pattern points to, and the causes in the order to check."""

    patterns: tuple[tuple[str, tuple[str, ...]], ...]
    causes: tuple[Rule, ...]
    confidence: str


def hints(
    kind: str, flow_points: Sequence[FlowPoint], history: Iterable[str] = ()
) -> tuple[Cause, ...]:
    """Possible causes of a result outside its band, in the order to check them.

    Parameters
    ----------
    kind : kind of proportioner.
    flow_points : at least 1, any order.
    history : what else is known: falling, step_after_fill, step_after_repair, first_sample_lean,
        last_sample_lean.

    Returns
    -------
    Causes, first the ones that most patterns speak for, then in the order of the data. Empty where
    nothing is lean or rich.

    Raises: empty_list, unknown_choice, not_a_number, not_finite, out_of_range.
    Source: common practice, no published source. Check: tests/calc/test_hints.py.
    """
    choice_at(kind, "kind", KINDS)
    known = [choice_at(one, "history", HISTORY) for one in history]
    seen = {*patterns_of(flow_points), *known}
    verdicts = {point.limits for point in flow_points} & {LEAN, RICH}
    rules = shipped_rules()
    found: dict[tuple[str, str], Cause] = {}
    for rule in rules.causes:
        fits = rule.verdict in verdicts and (kind in rule.kinds or ANY in rule.kinds)
        if not fits or (rule.only_with and not seen.intersection(rule.only_with)):
            continue
        speak = tuple(name for name, looks in rules.patterns if name in seen and rule.look in looks)
        cause = Cause(rule.cause, rule.verdict, speak, rules.confidence)
        found.setdefault((rule.cause, rule.verdict), cause)
    return tuple(sorted(found.values(), key=lambda cause: -len(cause.patterns)))


def patterns_of(flow_points: Sequence[FlowPoint]) -> tuple[str, ...]:
    """What the flow points of one test show together.

    Parameters
    ----------
    flow_points : at least 1, any order, flows and percents > 0.

    Returns
    -------
    Some of lean_at_lowest_flow_only, lean_at_highest_flow_only, same_factor; none for one point.

    Raises: empty_list, not_a_number, not_finite, out_of_range.
    Notes: same factor where all lie on one side outside the band and the percents differ by no
    more than 5 %.
    Source: common practice, no published source. Check: tests/calc/test_hints.py.
    """
    if not flow_points:
        raise CalcError("empty_list", "flow_points")
    flows = [float(positive("flow", point.flow)) for point in flow_points]
    percents = [float(positive("percent", point.percent)) for point in flow_points]
    lean = [flow for flow, p in zip(flows, flow_points, strict=True) if p.limits == LEAN]
    if min(flows) == max(flows):
        return ()
    found = []
    if lean and max(lean) == min(flows):
        found.append("lean_at_lowest_flow_only")
    if lean and min(lean) == max(flows):
        found.append("lean_at_highest_flow_only")
    sides = {point.limits for point in flow_points}
    if sides in ({LEAN}, {RICH}) and max(percents) <= SAME_FACTOR * min(percents):
        found.append("same_factor")
    return tuple(found)


def read_rules(given: Any, where: str = "$") -> Rules:
    """The rows from plain data, checked entry by entry.

    Raises: any code of calc.entries, unused_look.
    Source: the data's own. Check: tests/calc/test_hints.py.
    """
    entries = keys_at(given, where, ("confidence", "source", "patterns", "causes"))
    text_at(entries["source"], f"{where}.source")
    looks = keys_at(entries["patterns"], f"{where}.patterns", FROM_FLOWS + HISTORY)
    causes = tuple(
        _rule(row, f"{where}.causes[{i}]")
        for i, row in enumerate(list_at(entries["causes"], f"{where}.causes"))
    )
    return Rules(
        patterns=tuple(
            (name, _looks(listed, f"{where}.patterns.{name}", causes))
            for name, listed in looks.items()
        ),
        causes=causes,
        confidence=text_at(entries["confidence"], f"{where}.confidence"),
    )


def _rule(given: Any, where: str) -> Rule:
    entries = keys_at(given, where, ("kinds", "verdict", "look", "cause"), ("only_with",))
    kinds = list_at(entries["kinds"], f"{where}.kinds")
    only = list_at(entries["only_with"], f"{where}.only_with") if "only_with" in entries else ()
    return Rule(
        kinds=tuple(choice_at(kind, f"{where}.kinds", (*KINDS, ANY)) for kind in kinds),
        verdict=choice_at(entries["verdict"], f"{where}.verdict", (LEAN, RICH)),
        look=text_at(entries["look"], f"{where}.look"),
        cause=text_at(entries["cause"], f"{where}.cause"),
        only_with=tuple(choice_at(o, f"{where}.only_with", FROM_FLOWS + HISTORY) for o in only),
    )


def _looks(given: Any, where: str, causes: tuple[Rule, ...]) -> tuple[str, ...]:
    known = {rule.look for rule in causes}
    looks = tuple(text_at(look, f"{where}[{i}]") for i, look in enumerate(list_at(given, where)))
    for i, look in enumerate(looks):
        if look not in known:
            raise CalcError("unused_look", f"{where}[{i}]", got=quoted(look))
    return looks


@cache
def shipped_rules() -> Rules:
    """The starter rows, read once.

    Source: fixtures/hints, common practice. Check: tests/calc/test_hints.py.
    """
    return read_rules(load(FILE.read_bytes()), FILE.name)
