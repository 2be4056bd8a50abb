"""Quoted cells of a text file that may have swallowed the rows below them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from itm.intake.tables.blocks import Block
from itm.intake.tables.cells import place
from itm.intake.tables.head import Head
from itm.intake.tables.questions import Question, given
from itm.intake.tables.text import DELIMITERS

ONE_CELL = "one cell"
SHOWN = 60  # letters of the cell


@dataclass
class Swallowed:
    """Cells that hold a line break and the sign between columns: a note may, and so does a cell
    whose quotation mark closes only rows below. The first is kept and all are counted."""

    sign: str
    head: Head
    count: int = 0
    first: list[tuple[int, int, str]] = field(default_factory=list)

    def watched(self, blocks: Iterable[Block]) -> Iterator[Block]:
        for block in blocks:
            for at, column in enumerate(block.columns if self.sign else ()):
                joined = "\0".join(map(str, column.distinct))
                if "\n" in joined or "\r" in joined:
                    self._look(block, at)
            yield block

    def _look(self, block: Block, at: int) -> None:
        column = block.column(at)
        odd = {
            code
            for code, cell in enumerate(map(str, column.distinct))
            if self.sign in cell and ("\n" in cell or "\r" in cell)
        }
        for index, code in enumerate(column.codes if odd else ()):
            row = block.first + index
            if code in odd and row > self.head.last:
                self.count += 1
                self.first = self.first or [(row, at, str(column.distinct[code]))]

    def asked(self, answers: Mapping[str, str]) -> list[Question]:
        if not self.first:
            return []
        row, at, cell = self.first[0]
        more = f" So in {self.count} cells." if self.count > 1 else ""
        shown = " ↵ ".join(part.strip() for part in cell.splitlines())[:SHOWN]
        sentence = (
            f"{place(row, at)} goes over several lines and holds the sign between columns, "
            f"{DELIMITERS.get(self.sign, self.sign)}: “{shown}”. So does a cell whose quotation "
            f"mark is closed too late, with the rows below in it.{more}"
        )
        code = f"swallowed:{place(row, at)}"
        choices = ((ONE_CELL, "it is one cell, and no row is missing"),)
        return [Question(code, sentence, choices, given(answers, code, choices))]
