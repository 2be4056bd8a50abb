"""Names that are known already, and which of them a damaged or mistyped one may have been."""

import difflib
import re
from collections.abc import Iterable, Mapping

from itm.core.figures import day
from itm.intake.tables.cell_values import Got
from itm.intake.tables.cells import Cell, as_date, text_of

MOST_OFFERS = 6
MOST_SEARCHED = 100  # unknown names that others are offered for: nobody is asked about more at once


class Known:
    """Finds a name whatever its case; what is not known is asked about, never replaced.

    A spreadsheet turns 00712 into 712, 2E05 into 200000 and 3-4 into a day, so names that could
    have become that are offered. `means` are the answers given for this file.
    """

    def __init__(
        self, what: str, names: Iterable[str], *, means: Mapping[str, str] | None = None,
        needed: bool = True, free: bool = False,
    ) -> None:  # fmt: skip
        self.what, self.needed, self.free = what, needed, free
        self.names = sorted(set(names))
        self._by_fold = {fold(name): name for name in self.names}
        self.means = dict(means or {})
        self._offered: dict[Cell, list[str]] = {}

    def knows(self, cell: Cell) -> bool:
        return not isinstance(cell, tuple) and fold(text_of(cell)) in self._by_fold

    def read(self, cell: Cell) -> Got:
        """Codes: missing, unknown_name, day_for_name. A `free` name may be unknown, but one that
        is nearly known is asked about all the same."""
        text = text_of(cell).removeprefix("'")
        if not text:
            if not self.needed:
                return Got("")
            return Got(None, "", "missing", f"The {self.what} is missing.", "Fill the cell.")
        if (said := self.means.get(text)) and (self.free or said in self.names):
            return Got(said, text)
        if isinstance(cell, str) and (name := self._by_fold.get(fold(text))):
            return Got(name, text)
        if isinstance(cell, int | float) and text in self.names and not self._became(cell):
            return Got(text, text)
        offers = self.offers(cell)
        if self.free and not offers and not isinstance(cell, tuple):
            return Got(text, text)
        if isinstance(cell, tuple):
            sentence = (
                f"A day ({day(as_date(cell))}) stands where a {self.what} belongs: a spreadsheet "
                "makes days of names such as 3-4."
            )
            return Got(None, text, "day_for_name", sentence, _did_you_mean(offers))
        sentence = f"No {self.what} here is called “{text}”."
        return Got(None, text, "unknown_name", sentence, _did_you_mean(offers))

    def offers(self, cell: Cell) -> list[str]:
        """The likeliest first: what a spreadsheet may have made of it, then what is alike.

        Searched once a name, and of names that have to be known for the first ones only: among
        thousands each search takes milliseconds, and a file may hold as many wrong ones.
        """
        if cell in self._offered:
            return self._offered[cell]
        if not self.free and len(self._offered) >= MOST_SEARCHED:
            return []
        self._offered[cell] = self._search(cell)
        return self._offered[cell]

    def _search(self, cell: Cell) -> list[str]:
        alike = difflib.get_close_matches(text_of(cell), self.names, n=3, cutoff=0.75)
        found = [*self._became(cell), *([] if isinstance(cell, tuple) else alike)]
        return list(dict.fromkeys(found))[:MOST_OFFERS]

    def _became(self, cell: Cell) -> list[str]:
        if isinstance(cell, tuple):
            return [name for name in self.names if _may_be_day(name, cell)]
        text = text_of(cell)
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            return []
        return [name for name in self.names if name != text and _same_number(name, number)]


def fold(name: str) -> str:
    """Case and blanks make no other name; zeros and lines do."""
    return re.sub(r"\s+", " ", name).strip().casefold()


def _same_number(name: str, number: float) -> bool:
    try:
        return float(name) == number
    except ValueError:
        return False


def _may_be_day(name: str, cell: tuple[int, ...]) -> bool:
    parts = re.split(r"[\-/. ]", name)
    if len(parts) not in (2, 3) or not all(part.isdecimal() for part in parts):
        return False
    said = tuple(int(part) for part in parts)
    year, month, when = cell[:3]
    pairs = {(month, when), (when, month), (month, year % 100), (month, year)}
    return (
        said[:2] in pairs if len(said) == 2 else sorted(said) == sorted((year % 100, month, when))
    )


def _did_you_mean(offers: list[str]) -> str:
    if not offers:
        return "Write the name as it stands here, or add it first."
    return f"Did you mean {' or '.join(offers)}?"
