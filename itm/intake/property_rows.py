"""A row of a table of properties: the figures in it, in columns of their own or under “value”."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from itm.intake.concentrate import JudgedValue, judge_value
from itm.intake.tables.cell_values import Amount
from itm.intake.tables.cells import CellProblem, place
from itm.intake.tables.reading import Batch, Told
from itm.intake.tables.units import unit_of
from itm.intake.typed import digits_of
from itm.intake.value_layout import COLUMNS, unit_of_property, units_in_tables
from itm.registry.properties import PROPERTIES


class Found(NamedTuple):
    """One figure of a row: in which column, of which property, and its unit as the table has it."""

    column: str
    name: str
    value: Decimal
    typed: str
    unit: str


class Line:
    """The cells of one row under our names, told of at their places."""

    def __init__(
        self, columns: Mapping[str, int], batch: Batch, index: int, told: Told
    ) -> None:  # fmt: skip
        self.columns, self.row = columns, batch.rows[index]
        self._batch, self._index, self._told = batch, index, told

    def tell(self, column: str, code: str, sentence: str, fix: str = "") -> None:
        at = self.columns.get(column)
        self._told.add(CellProblem(self.row, at, code, sentence, fix))

    def value(self, column: str) -> Any:
        return self._batch.values[column][self._index]

    def typed(self, column: str) -> str:
        return self._batch.typed[column][self._index]

    def place(self, column: str) -> str:
        return place(self.row, self.columns.get(column))

    def found(self) -> Iterator[Found]:
        """Codes: no_property, two_units."""
        for column, name in COLUMNS.items():
            value = self.value(column)
            if isinstance(value, Amount):
                yield self._one(column, name, value.number, value.unit)
            elif value is not None:
                yield self._one(column, name, value, "")
        name, value = self.value("property"), self.value("value")
        if name is None or value is None:
            return  # told where it was read, or nothing measured
        if not name:
            self.tell("property", "no_property", "It is not said of which property this is.",
                      "Name the property in its column.")  # fmt: skip
            return
        yield self._one("value", name, value.number, self._unit(value.unit))

    @property
    def lacks_value(self) -> bool:
        """A property is named and nothing stands as its value."""
        return bool(self.value("property")) and not self.typed("value")

    def _one(self, column: str, name: str, value: Decimal, unit: str) -> Found:
        return Found(column, name, value, self.typed(column), unit)

    def _unit(self, beside: str) -> str:
        """Of the cell or the head, or of the column of units."""
        typed = self.value("unit")
        said = unit_of(typed) or typed
        if beside and said and beside != said:
            self.tell("unit", "two_units", f"The unit is {beside} at the value and {said} here.",
                      "Correct one of them.")  # fmt: skip
        return beside or said

    @property
    def temperature(self) -> str:
        """As typed, in °C."""
        warmth = self.value("temperature")
        return "" if warmth is None else digits_of(warmth, self.typed("temperature"))

    def judged(self, one: Found) -> JudgedValue | None:
        """Codes: no_unit, other_unit, and those of `judge_value`."""
        known = PROPERTIES[one.name]
        unit = unit_of_property(known, one.unit)
        number = digits_of(one.value, one.typed)
        if not unit and len(known.units) > 1:
            self.tell(one.column, "no_unit", f"“{number}” has no unit.",
                      f"Write it as {number} {known.unit}.")  # fmt: skip
            return None
        if unit not in known.units:
            right = " or ".join(units_in_tables(known)) or "no unit"
            self.tell(one.column, "other_unit", f"“{number} {unit}” is no {known.words}.",
                      f"Write it in {right}.")  # fmt: skip
            return None
        judged = judge_value(
            one.name, number, unit, self.temperature, place=one.column,
            temperature_place="temperature",
        )  # fmt: skip
        for problem in judged.problems:
            self.tell(problem.place, problem.code, problem.sentence)
        return None if judged.value is None or judged.problems else judged
