"""How one file writes its figures and days: what its own cells settle, and what has to be asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from itm.core.figures import day
from itm.intake.tables import days, numbers
from itm.intake.tables.cells import Cell, CellProblem, text_of
from itm.intake.tables.head import Head
from itm.intake.tables.layout import Layout
from itm.intake.tables.questions import Answer, Cells, Question, Spot, given, mixed
from itm.intake.tables.survey import Survey
from itm.intake.tables.swapped_days import CODE as SWAPPED
from itm.intake.tables.swapped_days import swapped_asked
from itm.intake.tables.unit_questions import differing_asked, unit_at, units_asked

POINT, COMMA = ".", ","
PERCENT, FRACTION = "percent", "fraction"
LEAVE_EMPTY, AS_IT_STANDS = "empty", "as it stands"
# A percent of a proportioner below this is a share of one written without its sign; own choice.
LARGEST_FRACTION = Decimal("0.2")
HEADED = "headed:"


@dataclass(frozen=True)
class Dialect:
    """`decimal` and `order` stay empty where no cell of the file shows any."""

    decimal: Literal["", ".", ","] = ""
    order: days.Order = ""
    count: str = ""  # which day counts: 1900 or 1904
    century: str = ""  # of years of two figures
    percent: Literal["", "percent", "fraction"] = ""
    middle: str = ""  # the same of percents between a share that is likely and 1
    nothing: str = ""  # what n/a stands for
    bare_names: str = ""  # numbers where names stand, taken as they are
    units: Mapping[str, str] | None = None  # of columns whose unit neither head nor cells say
    differing: Mapping[str, str] | None = None  # where cells say another unit than their head
    headed: Mapping[str, str] | None = None  # small percents of columns whose head says %
    swapped: Mapping[str, str] | None = None  # real days of columns where they may be turned


@dataclass(frozen=True)
class Settled:
    dialect: Dialect
    questions: tuple[Question, ...]
    problems: tuple[CellProblem, ...]

    @property
    def open(self) -> list[Question]:
        return [question for question in self.questions if not question.found]


def settle(
    survey: Survey, head: Head, columns: Mapping[str, int], layout: Layout,
    answers: Mapping[str, str],
) -> Settled:  # fmt: skip
    """What the cells say goes before what was answered; a file that says both is refused."""
    asked: list[Question] = []
    problems: list[CellProblem] = []
    cells = Cells(survey, columns, layout)
    for make in (_decimal, _order, _century, _count, _nothing, _bare_names):
        question, found = make(cells, answers)
        asked += question
        problems += found
    question, found = _percent(cells, head, answers)
    asked += question
    problems += found
    asked += swapped_asked(cells, answers)
    asked += units_asked(cells, head, answers)
    asked += differing_asked(cells, head, answers)
    said = {question.code: question.found for question in asked}
    units, differing, headed, swapped = (
        {name: found for code, found in said.items() if (name := code.removeprefix(begin)) != code}
        for begin in ("unit:", "differing:", HEADED, SWAPPED)
    )
    dialect = Dialect(
        decimal=said.get("decimal", ""),  # type: ignore[arg-type]
        order=said.get("order", ""),  # type: ignore[arg-type]
        count=said.get("count", ""),
        century=said.get("century", ""),
        percent=said.get("percent", ""),  # type: ignore[arg-type]
        middle=said.get("middle", ""),
        nothing=said.get("nothing", ""),
        bare_names=said.get("bare_names", ""),
        units=units,
        differing=differing,
        headed=headed,
        swapped=swapped,
    )
    return Settled(dialect, tuple(asked), tuple(problems))


def _decimal(cells: Cells, answers: Mapping[str, str]) -> Answer:
    shown: dict[str, list[Spot]] = {POINT: [], COMMA: [], "unclear": []}
    for column, spot in cells.of("number", "percent", "quantity", "measure"):
        if said := numbers.tells(spot.cell, column.most):
            shown[said].append(spot)
    if shown[POINT] and shown[COMMA]:
        words = ("a decimal point", "a decimal comma")
        fix = "Write all figures of the file in one way."
        return [], mixed("mixed_decimal", shown[POINT], shown[COMMA], words, fix)
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
    return [Question("decimal", sentence, choices, found or given(answers, "decimal", choices))], []


FIRST = {"dmy": "the day first", "mdy": "the month first", "ymd": "the year first"}


def _order(cells: Cells, answers: Mapping[str, str]) -> Answer:
    shown: dict[str, list[Spot]] = {"dmy": [], "mdy": [], "ymd": [], "unclear": []}
    for _, spot in cells.of("day", "moment"):
        if said := days.tells(spot.cell):
            shown[said].append(spot)
    there = [order for order in days.ORDERS if shown[order]]
    if len(there) > 1:
        one, other = there[:2]
        fix = "Write all days of the file in one order, best as 2026-04-03."
        words = (FIRST[one], FIRST[other])
        return [], mixed("mixed_order", shown[one], shown[other], words, fix)
    if not any(shown.values()):
        return [], []
    # A year of two figures may stand first too, so one of these shows all ways.
    unclear = sorted(shown["unclear"], key=lambda spot: not days.has_short_year(spot.cell))
    example = (unclear or shown[there[0]])[0]
    choices = tuple(
        (order, f"{words}: {text_of(example.cell)} is {_in_words(example.cell, order)}")
        for order, words in days.ORDERS.items()
        if order != "ymd" or days.has_short_year(example.cell)
    )
    sentence = f"{example.said}: is the day, the month or the year first?"
    found = there[0] if there else given(answers, "order", choices)
    return [Question("order", sentence, choices, found)], []


def _in_words(cell: Cell, order: days.Order) -> str:
    found = days.day_in(cell, order, century="2000")
    if found is None:
        return "no day"
    words = day(found)
    return f"{words[:-4]}..{words[-2:]}" if days.has_short_year(cell) else words


def _century(cells: Cells, answers: Mapping[str, str]) -> Answer:
    """Of years of two figures: an old paper and a new one write them alike."""
    short = [spot for _, spot in cells.of("day", "moment") if days.has_short_year(spot.cell)]
    order: Any = next((one.found for one in _order(cells, answers)[0]), "") or "dmy"
    read = {spot: days.day_in(spot.cell, order, century="2000") for spot in short}
    right = sorted((spot for spot in short if read[spot]), key=lambda spot: str(read[spot]))
    if not right:
        return [], []
    ends = list(dict.fromkeys((right[0], right[-1])))
    choices = []
    for century, words in days.CENTURIES.items():
        told = [days.day_in(spot.cell, order, century=century) for spot in ends]
        pairs = zip(ends, told, strict=True)
        said = ", ".join(f"{text_of(spot.cell)} is {day(on)}" for spot, on in pairs if on)
        choices.append((century, f"{words}: {said}"))
    sentence = f"{ends[0].said} has a year of two figures: in which century?"
    return [
        Question("century", sentence, tuple(choices), given(answers, "century", tuple(choices)))
    ], []


def _count(cells: Cells, answers: Mapping[str, str]) -> Answer:
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
        return [Question("count", sentence, choices, given(answers, "count", choices))], []
    return [], []


def _percent(cells: Cells, head: Head, answers: Mapping[str, str]) -> Answer:
    """3, 3 % or 0.03: settled by what has its sign, or is too large to be a share. Between the
    shares that are likely and 1 stands what may be half a percent or a half.

    A column whose head says % is judged by itself: texts beside larger ones are percents. Numbers
    are asked about all the same, since a workbook shows a share of one as 3.1 %.
    """
    small: list[Spot] = []
    middle: list[Spot] = []
    large: list[Spot] = []
    headed: dict[str, list[Spot]] = {}
    for column, spot in cells.of("percent"):
        value = _loosely(spot.cell)
        if value is None or value <= 0 or "%" in text_of(spot.cell):
            continue
        if unit_at(head, spot.column, column) == "%":
            headed.setdefault(column.name, []).append(spot)
            continue
        (small if value <= LARGEST_FRACTION else large if value > 1 else middle).append(spot)
    if small and large:
        words = ("shares of one", "percents")
        fix = (
            "Write all percents of the file in one way, best as 3.1. Where all of them are "
            "percents, say so in the head, as “Result (%)”, or behind the figure, as 0.15 %."
        )
        return [], mixed("mixed_percent", small, large, words, fix)
    if not small:  # nobody means 100 % by a 1 that stands alone
        middle = [spot for spot in middle if _loosely(spot.cell) != 1]
    out = []
    open_ways = [(HEADED + name, _unsure(spots)) for name, spots in headed.items()]
    for code, spots in (("percent", small), ("middle", [] if large else middle), *open_ways):
        if spots:
            value = _loosely(spots[0].cell) or Decimal(0)
            choices = (
                (FRACTION, f"a share of one: {_plain(value)} is {_plain(100 * value)} %"),
                (PERCENT, f"a percent: {_plain(value)} is {_plain(value)} %"),
            )
            sentence = f"{spots[0].said}: a share of one, or a percent?"
            out.append(Question(code, sentence, choices, given(answers, code, choices)))
    return out, []


def _unsure(spots: list[Spot]) -> list[Spot]:
    """Which of the percents under a head that says % may be shares all the same."""
    small = [spot for spot in spots if (_loosely(spot.cell) or 0) <= LARGEST_FRACTION]
    return [spot for spot in small if len(small) == len(spots) or not isinstance(spot.cell, str)]


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _loosely(cell: Cell) -> Decimal | None:
    if isinstance(cell, int | float):
        return Decimal(repr(cell))
    if isinstance(cell, tuple) or (found := numbers.figure_in(cell)) is None:
        return None
    sign = numbers.tells(cell, Decimal(100))
    return numbers.value_of(found, sign if sign in (POINT, COMMA) else "")  # type: ignore[arg-type]


def _nothing(cells: Cells, answers: Mapping[str, str]) -> Answer:
    for _, spot in cells.of("number", "percent", "quantity", "measure", "day", "moment"):
        if isinstance(spot.cell, str) and numbers.is_nothing(spot.cell):
            choices = ((LEAVE_EMPTY, "nothing was measured: read such cells as empty"),)
            sentence = f"{spot.said} stands where a figure or a day belongs."
            return [Question("nothing", sentence, choices, given(answers, "nothing", choices))], []
    return [], []


def _bare_names(cells: Cells, answers: Mapping[str, str]) -> Answer:
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
            said = given(answers, "bare_names", choices)
            return [Question("bare_names", sentence, choices, said)], []
    return [], []
