"""What is asked once a file, and the cells that a question rests on."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from itm.intake.tables.cells import Cell, CellProblem, place, text_of
from itm.intake.tables.layout import Layout, TableColumn
from itm.intake.tables.survey import Survey

NAMED = 5  # cells of each side that a sentence names


@dataclass(frozen=True)
class Question:
    """Asked once a file; `found` is what its cells or an earlier answer settle. `entry` is how it
    is answered in own words, and then it may stay open."""

    code: str
    sentence: str
    choices: tuple[tuple[str, str], ...]
    found: str = ""
    entry: str = ""  # text, day or number
    longest: int = 0  # characters of such an answer


Answer = tuple[list[Question], list[CellProblem]]


@dataclass(frozen=True)
class Spot:
    cell: Cell
    row: int
    column: int

    @property
    def place(self) -> str:
        return place(self.row, self.column)

    @property
    def said(self) -> str:
        return f"“{text_of(self.cell)}” in {self.place}"


@dataclass(frozen=True)
class Cells:
    survey: Survey
    columns: Mapping[str, int]
    layout: Layout

    def of(self, *kinds: str) -> Iterator[tuple[TableColumn, Spot]]:
        for name in self.columns:
            if self.layout.column(name).kind in kinds:
                yield from self.of_column(name)

    def of_column(self, name: str) -> Iterator[tuple[TableColumn, Spot]]:
        column, at = self.layout.column(name), self.columns[name]
        for cell, row in self.survey.seen[name].items():
            if row <= self.survey.last:
                yield column, Spot(cell, row, at)


def mixed(
    code: str, one: list[Spot], other: list[Spot], words: tuple[str, str], fix: str
) -> list[CellProblem]:
    """Both sides named, at the first cell of the rarer one."""
    few = min(one, other, key=len)
    names = [", ".join(spot.said for spot in spots[:NAMED]) for spots in (one, other)]
    sentence = f"Mixed in one file: {words[0]} ({names[0]}) and {words[1]} ({names[1]})."
    return [CellProblem(few[0].row, few[0].column, code, sentence, fix)]


def given(answers: Mapping[str, str], code: str, choices: tuple[tuple[str, str], ...]) -> str:
    said = answers.get(code, "")
    return said if said in dict(choices) else ""
