"""A file that is read as often as needed: each look through it opens it anew."""

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from itm.core.errors import Refused
from itm.intake.tables import text, workbook
from itm.intake.tables.blocks import Block, blocks
from itm.intake.tables.cells import Cell, CellProblem
from itm.intake.tables.file_kind import CSV
from itm.intake.tables.head import WITHIN, Head
from itm.intake.tables.hidden_rows import without
from itm.intake.tables.limits import LONGEST_CELL, MOST_COLUMNS, long_cell
from itm.intake.tables.questions import Question

Problems = list[CellProblem]


@dataclass(frozen=True)
class Source:
    """Where the table lies in the file: letters and sign of a text, sheet of a workbook."""

    path: Path
    kind: str
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    without_hidden: bool = False  # rows that the workbook hides are left out

    def blocks(self) -> Iterator[Block]:
        """Refused what `csv_rows` and `workbook_blocks` refuse, and long_cell."""
        if self.kind == CSV:
            found = blocks(text.csv_rows(self.path, self.encoding, self.delimiter))
        else:
            found = workbook.workbook_blocks(self.path, self.sheet)
        if self.without_hidden:
            rows = set(self.hidden())
            found = (without(block, rows) for block in found)
        for block in found:
            for column in block.columns:
                for cell in column.distinct:
                    if isinstance(cell, str) and len(cell) > LONGEST_CELL:
                        where = f"in one of the rows from {block.first} on"
                        raise long_cell(where, len(cell))
            yield block

    def hidden(self, head: Head | None = None) -> list[int]:
        """Rows below the heads that a workbook hides and that hold something."""
        last = head.last if head else 0
        rows = [] if self.kind == CSV else workbook.hidden(self.path, self.sheet)
        return [row for row in rows if row > last]

    def width(self, head: Head, columns: Mapping[str, int]) -> int:
        """Columns beyond which nothing of a text may stand. In a workbook no cell is pushed."""
        if self.kind != CSV:
            return MOST_COLUMNS
        named = [at for at, name in enumerate(head.names) if name]
        return max((*named, *columns.values()), default=0) + 1

    def faults(self, columns: Iterable[int], head: Head, notes: Container[int]) -> Problems:
        """Cells of these columns that hold an error, or a formula without its value; what stands in
        notes is left out with them."""
        if self.kind == CSV:
            return []
        wanted = set(columns)
        return [
            CellProblem(row, at, *_words(error))
            for row, at, error in workbook.faults(self.path, self.sheet)
            if row > head.last and at in wanted and row not in notes
        ]

    def first_rows(self, count: int = WITHIN) -> list[tuple[Cell, ...]]:
        taken = self.blocks()
        try:
            return list(islice((row for block in taken for row in block.rows()), count))
        finally:
            taken.close()  # type: ignore[attr-defined]  # ends the process that reads


def _words(error: str) -> tuple[str, str, str]:
    """Code, sentence and what would be right."""
    if error:
        sentence = f"The workbook shows the error {error} here, so what was meant is lost."
        return "error_cell", sentence, "Correct the formula, or write what was measured."
    sentence = "A formula stands here whose value the file does not have."
    return "no_value", sentence, "Open it in a spreadsheet program, save it, and hand that in."


def find_source(
    path: Path, kind: str, answers: Mapping[str, str]
) -> tuple[Source | None, list[Question]]:
    """None while a question about the file itself is open. Refused not_text, no_table."""
    if kind == CSV:
        return _text(path, answers)
    there = workbook.sheets(path)
    if not there:
        raise Refused("no_table", "No sheet of this workbook holds anything.", "chosen")
    choices = tuple((name, f"{name} ({rows:,} rows)") for name, rows in there)
    said = answers.get("sheet", "")
    found = there[0][0] if len(there) == 1 else said if said in dict(choices) else ""
    asked = [Question("sheet", "Which sheet holds the table?", choices, found)]
    return (Source(path, kind, sheet=found) if found else None), asked


def _text(path: Path, answers: Mapping[str, str]) -> tuple[Source | None, list[Question]]:
    letters = text.letters_of(path)
    asked = []
    encoding = letters.encoding
    if not letters.sure:
        said = answers.get("encoding", "")
        found = said if said in text.ENCODINGS else ""
        words = ", ".join(f"“{word}”" for word in letters.words)
        sentence = f"Do these words read right: {words}? If not, choose other letters."
        choices = tuple(text.ENCODINGS.items())
        asked.append(Question("encoding", sentence, choices, found or encoding))
        encoding = found or encoding
    delimiter = text.delimiter_of(path, encoding)
    sign = answers.get("delimiter")
    known = delimiter if sign is None or sign not in text.DELIMITERS else sign
    if delimiter is None or delimiter == "" or sign is not None:
        choices = tuple((one or "none", words) for one, words in text.DELIMITERS.items())
        shown = "" if known is None or (known == "" and sign is None) else known or "none"
        sentence = "Which sign parts the columns?"
        if sign == "none":
            known, shown = "", "none"
        asked.append(Question("delimiter", sentence, choices, shown))
        if not shown:
            return None, asked
    return Source(path, CSV, encoding=encoding, delimiter=known or ""), asked
