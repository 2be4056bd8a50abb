"""A table of readings beside the bench that it belongs to; each is judged as the page judges it."""

from collections.abc import Mapping

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.quantities import parse_decimal
from itm.intake.check import judge
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.known import Known
from itm.intake.tables.reading import Batch, Told
from itm.records import bench_sheet
from itm.records.many_readings import NewReading
from itm.records.models import ProportioningTest

MOST = 2_000  # readings of one bench; own choice, far beyond any


class ReadingRows:
    """Judges batches of rows; gives the readings in the order of the table."""

    def __init__(
        self, actor: Actor, test: ProportioningTest, *, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        self.sheet = bench_sheet.sheet(actor, test.key)
        self._columns = columns
        self._bottles = {stand.bottle.label: stand.bottle for stand in self.sheet.stands}
        self.known = {"bottle": Known("bottle", self._bottles, means=means.get("bottle"))}
        self._count = 0

    def judged(self, batch: Batch, told: Told) -> list[NewReading]:
        """Codes: too_many_readings, closed, and those of `intake.check.judge`."""
        self._count += len(batch.rows)
        if self._count > MOST:
            sentence = f"This table has more than {MOST:,} readings for one bench."
            told.add(CellProblem(batch.rows[0], None, "too_many_readings", sentence,
                                 "Divide it by test."))  # fmt: skip
            return []
        out = []
        for index, row in enumerate(batch.rows):
            label = batch.values["bottle"][index]
            value = self._typed(batch, "value", index)
            if label is None or not value:
                continue  # told where it was read
            warmth = self._typed(batch, "temperature", index)
            judged = judge(value, warmth, self.sheet.bench.instrument, place="value",
                           temperature_place="temperature")  # fmt: skip
            for one in judged.problems:
                told.add(CellProblem(row, self._columns.get(one.place), one.code, one.sentence))
            bottle = self._bottles[label]
            if closed := self.sheet.closed if bottle.run_id else self.sheet.shared_closed:
                told.add(CellProblem(row, self._columns["bottle"], "closed", closed))
            if not judged.problems and judged.value is not None:
                out.append(NewReading(bottle, value, warmth))
        return out

    @staticmethod
    def _typed(batch: Batch, name: str, index: int) -> str:
        """As the file has it where that is a figure to everybody, else in plain digits: without
        unit and thousands' marks."""
        value, typed = batch.values[name][index], batch.typed[name][index]
        if value is None:
            return ""
        try:
            return typed if parse_decimal(typed) == value else f"{value:f}"
        except Refused:
            return f"{value:f}"

    def finish(self, told: Told) -> None:
        """Nothing is left to ask of the whole."""
