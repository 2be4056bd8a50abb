"""How one file writes its figures and days: what its own cells settle, and what has to be asked."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from itm.core.figures import day
from itm.intake.tables import days, numbers
from itm.intake.tables.cells import Cell, CellProblem, as_date, place, text_of
from itm.intake.tables.head import Head
from itm.intake.tables.layout import Layout, TableColumn
from itm.intake.tables.survey import Survey

POINT, COMMA = ".", ","
PERCENT, FRACTION = "percent", "fraction"
LEAVE_EMPTY, AS_IT_STANDS = "empty", "as it stands"
# A percent of a proportioner below this is a share of one written without its sign; own choice.
LARGEST_FRACTION = Decimal("0.2")
NAMED = 5  # cells of each side that a sentence names


@dataclass(frozen=True)
class Dialect:
    """`decimal` and `order` stay empty where no cell of the file shows any."""

    decimal: Literal["", ".", ","] = ""
    order: Literal["", "dmy", "mdy"] = ""
    count: str = ""  # which day counts: 1900 or 1904
    percent: Literal["", "percent", "fraction"] = ""
    nothing: str = ""  # what n/a stands for
    bare_names: str = ""  # numbers where names stand, taken as they are
    units: Mapping[str, str] | None = None  # of columns whose unit neither head nor cells say


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


@dataclass(frozen=True)
class Settled:
    dialect: Dialect
    questions: tuple[Question, ...]
    problems: tuple[CellProblem, ...]

    @property
    def open(self) -> list[Question]:
        return [question for question in self.questions if not question.found]


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


def settle(
    survey: Survey, head: Head, columns: Mapping[str, int], layout: Layout,
    answers: Mapping[str, str],
) -> Settled:  # fmt: skip
    """What the cells say goes before what was answered; a file that says both is refused."""
    asked: list[Question] = []
    problems: list[CellProblem] = []
    cells = _Cells(survey, columns, layout)
    for make in (_decimal, _order, _count, _percent, _nothing, _bare_names):
        question, found = make(cells, answers)
        asked += question
        problems += found
    asked += _units(cells, head, answers)
    said = {question.code: question.found for question in asked}
    units = {q.code.partition(":")[2]: q.found for q in asked if q.code.startswith("unit:")}
    dialect = Dialect(
        decimal=said.get("decimal", ""),  # type: ignore[arg-type]
        order=said.get("order", ""),  # type: ignore[arg-type]
        count=said.get("count", ""),
        percent=said.get("percent", ""),  # type: ignore[arg-type]
        nothing=said.get("nothing", ""),
        bare_names=said.get("bare_names", ""),
        units=units,
    )
    return Settled(dialect, tuple(asked), tuple(problems))


Answer = tuple[list[Question], list[CellProblem]]


@dataclass(frozen=True)
class _Cells:
    survey: Survey
    columns: Mapping[str, int]
    layout: Layout

    def of(self, *kinds: str) -> Iterator[tuple[TableColumn, Spot]]:
        for name, at in self.columns.items():
            column = self.layout.column(name)
            if column.kind in kinds:
                for cell, row in self.survey.seen[name].items():
                    if row <= self.survey.last:
                        yield column, Spot(cell, row, at)


def _mixed(
    code: str, one: list[Spot], other: list[Spot], words: tuple[str, str], fix: str
) -> list[CellProblem]:
    """Both sides named, at the first cell of the rarer one."""
    few = min(one, other, key=len)
    names = [", ".join(spot.said for spot in spots[:NAMED]) for spots in (one, other)]
    sentence = f"Mixed in one file: {words[0]} ({names[0]}) and {words[1]} ({names[1]})."
    return [CellProblem(few[0].row, few[0].column, code, sentence, fix)]


def _decimal(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    shown: dict[str, list[Spot]] = {POINT: [], COMMA: [], "unclear": []}
    for column, spot in cells.of("number", "percent", "quantity", "measure"):
        if said := numbers.tells(spot.cell, column.most):
            shown[said].append(spot)
    if shown[POINT] and shown[COMMA]:
        words = ("a decimal point", "a decimal comma")
        fix = "Write all figures of the file in one way."
        return [], _mixed("mixed_decimal", shown[POINT], shown[COMMA], words, fix)
    if not any(shown.values()):
        return [], []
    found = POINT if shown[POINT] else COMMA if shown[COMMA] else ""
    example = (shown["unclear"] or shown[POINT] or shown[COMMA])[0]
    read = []
    for sign in (POINT, COMMA):
        figure = numbers.figure_in(text_of(example.cell))
        value = numbers.value_of(figure, sign) if figure else None  # type: ignore[arg-type]
        read.append(f"{value.normalize():f}" if value is not None else "no number")
    choices = (
        (POINT, f"decimal point: {text_of(example.cell)} is {read[0]}"),
        (COMMA, f"decimal comma: {text_of(example.cell)} is {read[1]}"),
    )
    sentence = f"{example.said}: which sign parts the decimals?"
    return [
        Question("decimal", sentence, choices, found or _given(answers, "decimal", choices))
    ], []


def _given(answers: Mapping[str, str], code: str, choices: tuple[tuple[str, str], ...]) -> str:
    said = answers.get(code, "")
    return said if said in dict(choices) else ""


def _order(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    shown: dict[str, list[Spot]] = {"dmy": [], "mdy": [], "unclear": []}
    for _, spot in cells.of("day", "moment"):
        if said := days.tells(spot.cell):
            shown[said].append(spot)
    if shown["dmy"] and shown["mdy"]:
        words = ("the day first", "the month first")
        fix = "Write all days of the file in one order, best as 2026-04-03."
        return [], _mixed("mixed_order", shown["dmy"], shown["mdy"], words, fix)
    if not any(shown.values()):
        return [], []
    found = "dmy" if shown["dmy"] else "mdy" if shown["mdy"] else ""
    example = (shown["unclear"] or shown["dmy"] or shown["mdy"])[0]
    choices = tuple(
        (order, f"{words}: {text_of(example.cell)} is {_in_words(example.cell, order)}")
        for order, words in days.ORDERS.items()
    )
    sentence = f"{example.said}: is the day or the month first?"
    return [Question("order", sentence, choices, found or _given(answers, "order", choices))], []


def _in_words(cell: Cell, order: str) -> str:
    found = days.day_in(cell, order)  # type: ignore[arg-type]
    return day(found) if found else "no day"


def _count(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    """A day column with bare numbers: the day counts of a spreadsheet, of which there are two."""
    for _, spot in cells.of("day", "moment"):
        number = days.count_in(spot.cell)
        if number is None:
            continue
        choices = tuple(
            (system, f"counted from {system}: {day(days.of_count(number, system))}")
            for system in days.EPOCHS
        )
        sentence = f"{spot.said} is a number where a day stands: which day is it?"
        return [Question("count", sentence, choices, _given(answers, "count", choices))], []
    return [], []


def _percent(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    """3, 3 % or 0.03: settled by what has its sign, or is too large to be a share."""
    small, large = [], []
    for _, spot in cells.of("percent"):
        value = _loosely(spot.cell)
        if value is None or value <= 0 or "%" in text_of(spot.cell):
            continue
        if value <= LARGEST_FRACTION:
            small.append(spot)
        elif value > 1:
            large.append(spot)
    if small and large:
        words = ("shares of one", "percents")
        fix = "Write all percents of the file in one way, best as 3.1."
        return [], _mixed("mixed_percent", small, large, words, fix)
    if not small:
        return [], []
    example = small[0]
    value = _loosely(example.cell) or Decimal(0)
    choices = (
        (FRACTION, f"a share of one: {value.normalize():f} is {(100 * value).normalize():f} %"),
        (PERCENT, f"a percent: {value.normalize():f} is {value.normalize():f} %"),
    )
    sentence = f"{example.said}: a share of one, or a percent?"
    return [Question("percent", sentence, choices, _given(answers, "percent", choices))], []


def _loosely(cell: Cell) -> Decimal | None:
    if isinstance(cell, int | float):
        return Decimal(repr(cell))
    if isinstance(cell, tuple) or (found := numbers.figure_in(cell)) is None:
        return None
    sign = numbers.tells(cell, Decimal(100))
    return numbers.value_of(found, sign if sign in (POINT, COMMA) else "")  # type: ignore[arg-type]


def _nothing(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    for _, spot in cells.of("number", "percent", "quantity", "measure", "day", "moment"):
        if isinstance(spot.cell, str) and numbers.is_nothing(spot.cell):
            choices = ((LEAVE_EMPTY, "nothing was measured: read such cells as empty"),)
            sentence = f"{spot.said} stands where a figure or a day belongs."
            return [Question("nothing", sentence, choices, _given(answers, "nothing", choices))], []
    return [], []


def _bare_names(cells: _Cells, answers: Mapping[str, str]) -> Answer:
    """712 as a number may have been 00712: only for names that the table brings."""
    if not cells.layout.makes_names:
        return [], []
    for _, spot in cells.of("name"):
        if isinstance(spot.cell, int | float):
            choices = ((AS_IT_STANDS, f"it is {text_of(spot.cell)}, nothing was lost"),)
            sentence = (
                f"{spot.said} is a number in this workbook, and a name here. A spreadsheet drops "
                f"zeros before it: was it 00{text_of(spot.cell)}? Then mend the file and format "
                "the column as text."
            )
            given = _given(answers, "bare_names", choices)
            return [Question("bare_names", sentence, choices, given)], []
    return [], []


def _units(cells: _Cells, head: Head, answers: Mapping[str, str]) -> list[Question]:
    """Of a column whose figures say no unit, and whose head says none either."""
    out = []
    for name, at in cells.columns.items():
        column = cells.layout.column(name)
        if column.kind != "quantity" or (at < len(head.units) and head.units[at]):
            continue
        spots = [spot for one, spot in cells.of("quantity") if one.name == name]
        without = [spot for spot in spots if _without_unit(spot.cell)]
        if without:
            code = f"unit:{name}"
            choices = tuple((unit, unit) for unit in column.units)
            sentence = f"{without[0].said}: in which unit is the column “{head.names[at]}”?"
            out.append(Question(code, sentence, choices, _given(answers, code, choices)))
    return out


def _without_unit(cell: Cell) -> bool:
    if isinstance(cell, int | float):
        return True
    found = numbers.figure_in(cell) if isinstance(cell, str) else None
    return found is not None and not found.rest


def shown_day(cell: Cell) -> str:
    return day(as_date(cell)) if isinstance(cell, tuple) else text_of(cell)
