"""In which unit figures are read where head and cells do not say it as one."""

from collections.abc import Mapping

from itm.intake.tables import numbers
from itm.intake.tables.cells import Cell
from itm.intake.tables.head import Head
from itm.intake.tables.layout import TableColumn
from itm.intake.tables.questions import Cells, Question, given

OF_CELL, OF_HEAD = "cell", "head"


def unit_at(head: Head, at: int, column: TableColumn) -> str:
    """The unit that the head of a column says; a percent also by its sign anywhere in it."""
    said = head.units[at] if at < len(head.units) else ""
    percent = column.kind == "percent" and at < len(head.names) and "%" in head.names[at]
    return said or ("%" if percent else "")


def units_asked(cells: Cells, head: Head, answers: Mapping[str, str]) -> list[Question]:
    """Of figures that say no unit, in a column whose head says none either."""
    out = []
    for name, at in cells.columns.items():
        column = cells.layout.column(name)
        if column.kind != "quantity" or (at < len(head.units) and head.units[at]):
            continue
        spots = [spot for _, spot in cells.of_column(name)]
        without = [spot for spot in spots if _without_unit(spot.cell)]
        if without:
            code = f"unit:{name}"
            choices = tuple((unit, unit) for unit in column.units)
            sentence = (
                f"{without[0].said}: in which unit are the figures of “{head.names[at]}” that say "
                "none?"
            )
            out.append(Question(code, sentence, choices, given(answers, code, choices)))
    return out


def _without_unit(cell: Cell) -> bool:
    if isinstance(cell, int | float):
        return True
    found = numbers.figure_in(cell) if isinstance(cell, str) else None
    return found is not None and not found.rest


def differing_asked(cells: Cells, head: Head, answers: Mapping[str, str]) -> list[Question]:
    """Of a column whose head says one unit and a cell of it another, both of which it may have."""
    out = []
    for name, at in cells.columns.items():
        column = cells.layout.column(name)
        unit = head.units[at] if at < len(head.units) else ""
        if not column.is_figure or unit not in column.units:
            continue
        for _, spot in cells.of_column(name):
            said = _unit_in(spot.cell)
            if said not in ("", unit) and said in column.units:
                figure = str(spot.cell)
                choices = (
                    (OF_CELL, f"what stands in the cell: {figure}"),
                    (OF_HEAD, f"the head: {_bare(figure)} {unit}"),
                )
                code = f"differing:{name}"
                sentence = (
                    f"{spot.said} is in {said}, and the head “{head.names[at]}” says {unit}: "
                    "which holds?"
                )
                out.append(Question(code, sentence, choices, given(answers, code, choices)))
                break
    return out


def _unit_in(cell: Cell) -> str:
    found = numbers.figure_in(cell) if isinstance(cell, str) else None
    return numbers.unit_after(found)[0] if found and found.rest else ""


def _bare(text: str) -> str:
    found = numbers.figure_in(text)
    return text.removesuffix(found.rest).strip() if found else text
