"""Heads that are nearly one of ours, or that two columns share: which is meant is asked."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from itm.intake.tables.cells import letters
from itm.intake.tables.head import Head, folded, vocabulary
from itm.intake.tables.layout import Layout
from itm.intake.tables.questions import Question, given
from itm.intake.tables.units import IN_BRACKETS, apart

IS, IS_NOT = "is", "not"
# Words behind the name of a column that are two units, and so are none here.
TWO_UNITS = re.compile(
    r"^(?P<name>.+?)[\s_,]+(?:in\s+)?(?P<unit>gpm|gal|gals|gallons?|gal/min)$", re.IGNORECASE
)


@dataclass(frozen=True)
class Heads:
    """Head and columns under the answers so far; while a question is open they are a guess."""

    head: Head
    columns: dict[str, int]
    questions: tuple[Question, ...]

    @property
    def open(self) -> bool:
        return any(not one.found for one in self.questions)


def settle_heads(
    head: Head, layout: Layout, columns: Mapping[str, int], answers: Mapping[str, str],
    remembered: Mapping[str, Sequence[str]],
) -> Heads:  # fmt: skip
    """Of two columns that can be one of ours, and of “Flow (gpm)”, whose unit is two."""
    out, units = dict(columns), list(head.units)
    asked = _twins(head, layout, out, answers, remembered)
    ours_of = vocabulary(layout)
    for at, text in enumerate(head.names):
        stem, said = _stem(text)
        name = ours_of.get(folded(stem))
        if not said or name is None or at in out.values() or name in out:
            continue
        out[name] = at
        if len(set(said)) == 1 and units[at]:
            continue  # twice the same unit
        column = layout.column(name)
        choices = tuple((unit, f"{column.label}, in {unit}") for unit in column.units) or (
            (IS, column.label),
        )
        choices += ((IS_NOT, "something else: leave this column out"),)
        code = f"head:{at}:{text}"
        sentence = f"Column {letters(at)} is headed “{text}”: what does it hold?"
        question = Question(code, sentence, choices, given(answers, code, choices))
        asked.append(question)
        if question.found == IS_NOT:
            out.pop(name)
        elif question.found in column.units:
            units[at] = question.found
    return Heads(replace(head, units=tuple(units)), out, tuple(asked))


def _stem(text: str) -> tuple[str, list[str]]:
    """The name without all that stands behind it in brackets or as a unit, and what stood there."""
    said: list[str] = []
    while True:
        name, unit = apart(text)
        if not unit and (found := IN_BRACKETS.match(text) or TWO_UNITS.match(text)):
            name, unit = found["name"], found["unit"]
        if not unit or not name:
            return text, said
        text = name
        said.append(unit)


def _twins(
    head: Head, layout: Layout, columns: dict[str, int], answers: Mapping[str, str],
    remembered: Mapping[str, Sequence[str]],
) -> list[Question]:  # fmt: skip
    """Two columns under a name of one of ours. What an organisation chose before is not asked."""
    known, out = vocabulary(layout), list[Question]()
    taken = set(columns.values())
    for name, first in list(columns.items()):
        names = [known.get(folded(text)) or known.get(folded(apart(text)[0]))
                 for text in head.names]  # fmt: skip
        others = [at for at, ours in enumerate(names) if ours == name and at not in taken]
        if head.names[first] in remembered.get(name, ()):
            others = [at for at in others if head.names[at] == head.names[first]]
        if not others:
            continue
        both = sorted((first, *others))
        choices = tuple((str(at), f"column {letters(at)}, “{head.names[at]}”") for at in both)
        code = f"twin:{name}:{'-'.join(map(str, both))}"
        sentence = f"{len(both)} columns can be {layout.column(name).label}: which of them is it?"
        question = Question(code, sentence, choices, given(answers, code, choices))
        out.append(question)
        columns[name] = int(question.found or first)
    return out
