"""What a kind of table holds: its columns with our own names, and the other names they go by."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

Kind = Literal["text", "name", "number", "percent", "quantity", "day", "moment", "choice"]


@dataclass(frozen=True)
class TableColumn:
    """`name` is ours and documented. A `name` column is an identifier and stays text, zeros and
    all. `most` is the largest value that is believed, which also tells 1,334 from 1334."""

    name: str
    kind: Kind
    label: str
    example: str = ""
    needed: bool = False
    aliases: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    choices: Mapping[str, str] = field(default_factory=dict)  # spelling → code
    most: Decimal | None = None
    longest: int = 200
    help: str = ""

    @property
    def is_figure(self) -> bool:
        return self.kind in ("number", "percent", "quantity")

    @property
    def is_dated(self) -> bool:
        return self.kind in ("day", "moment")


@dataclass(frozen=True)
class Layout:
    kind: str
    title: str
    columns: tuple[TableColumn, ...]
    examples: tuple[tuple[str, ...], ...] = ()  # rows, in the order of the columns
    makes_names: bool = False  # the table brings new things whose names nobody knows yet

    def column(self, name: str) -> TableColumn:
        return next(one for one in self.columns if one.name == name)

    @property
    def names(self) -> list[str]:
        return [one.name for one in self.columns]
