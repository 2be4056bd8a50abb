"""Which rows of a table say the same twice, at eight bytes a row and place."""

from array import array
from collections.abc import Hashable, Iterator
from datetime import date

import numpy as np

PLACE = 24  # bits below it: a day as the calendar counts it (3,652,059 at most), and a mark


class Twins:
    """Each place, such as a flow point of a device, has a number of its own; `mark` parts two that
    may stand on one day."""

    def __init__(self) -> None:
        self._place: dict[Hashable, int] = {}
        self._seen, self._rows = array("q"), array("L")

    def number(self, place: Hashable) -> int:
        return self._place.setdefault(place, len(self._place)) << PLACE

    def add(self, keys: Iterator[int], rows: list[int]) -> None:
        """Each key is the number of a place, that of a day and the mark together."""
        self._seen.extend(keys)
        self._rows.extend(rows)

    @staticmethod
    def of_day(day: date | None) -> int:
        return (day.toordinal() if day else 0) << 1

    def found(self) -> Iterator[tuple[int, int]]:
        """First row and the one that says it again."""
        if not self._seen:
            return
        seen = np.frombuffer(self._seen, dtype=np.int64)
        order = np.argsort(seen, kind="stable")
        for index in (np.flatnonzero(np.diff(seen[order]) == 0) + 1).tolist():
            yield self._rows[order[index - 1]], self._rows[order[index]]
