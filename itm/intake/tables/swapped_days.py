"""Days of a workbook that it may have turned: read as month and day where day and month stood.

A spreadsheet that opens a text with the settings of another country makes real days of what it
can read, 05/03 as 3 May, and leaves as text what it cannot, 14/03. So a column in which every text
day has a part above 12, and no real day one, looks turned. It may be so by chance, and is asked.
"""

from collections.abc import Mapping

from itm.core.figures import day
from itm.intake.tables import days
from itm.intake.tables.cells import Cell, Day, as_date
from itm.intake.tables.questions import Cells, Question, given

AS_SHOWN, TURNED = "shown", "turned"
CODE = "swapped:"


def swapped_asked(cells: Cells, answers: Mapping[str, str]) -> list[Question]:
    out = []
    for name in cells.columns:
        if not cells.layout.column(name).is_dated:
            continue
        spots = [spot for _, spot in cells.of_column(name)]
        texts = {spot: said for spot in spots if (said := days.tells(spot.cell))}
        real = [spot for spot in spots if isinstance(spot.cell, tuple)]
        if len(set(texts.values())) != 1 or not set(texts.values()) <= {"dmy", "mdy"}:
            continue
        if any(turned(spot.cell) is None for spot in real):
            continue
        example = next((spot for spot in real if turned(spot.cell) != spot.cell), None)
        if example is None:
            continue  # no real day, or none that would be another one
        cell, other = example.cell, turned(example.cell)
        if not isinstance(cell, tuple) or other is None:
            continue
        text = next(iter(texts))
        choices = (
            (AS_SHOWN, f"as the workbook shows it: {day(as_date(cell))}"),
            (TURNED, f"with day and month turned: {day(as_date(other))}, and so all real days"),
        )
        sentence = (
            f"{example.said} is a real day of the workbook, and {text.said} a text: all texts of "
            "this column have a part above 12, and no real day has. So it looks as after opening "
            "under the settings of another country, which turns day and month. Which day is "
            f"{example.place}?"
        )
        out.append(Question(CODE + name, sentence, choices, given(answers, CODE + name, choices)))
    return out


def turned(cell: Cell) -> Day | None:
    """With day and month in each other's place; None where there is no such day."""
    if not isinstance(cell, tuple) or cell[2] > 12:
        return None
    return (cell[0], cell[2], cell[1], *cell[3:])
