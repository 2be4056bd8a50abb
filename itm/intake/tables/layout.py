"""What a kind of table holds: its columns with our own names, and the other names they go by."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

Kind = Literal[
    "text", "name", "number", "percent", "quantity", "measure", "day", "moment", "choice"
]  # fmt: skip


@dataclass(frozen=True)
class TableColumn:
    """`name` is ours and documented. A `name` column is an identifier and stays text, zeros and
    all; a `measure` is a quantity whose unit may stand elsewhere. `most` is the largest value that
    is believed, which also tells 1,334 from 1334; with `judged` what is larger is told by whoever
    judges the rows, who knows what else it may be. `once` asks, where no column of the file holds
    it, what holds for all of its rows, in one of its words where it is a choice: such a
    one has to be said, and where the file has the column, in each row."""

    name: str
    kind: Kind
    label: str
    example: str = ""
    needed: bool = False
    aliases: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    choices: Mapping[str, str] = field(default_factory=dict)  # spelling → code
    most: Decimal | None = None
    judged: bool = False
    longest: int = 200
    help: str = ""
    once: str = ""

    @property
    def is_figure(self) -> bool:
        return self.kind in ("number", "percent", "quantity", "measure")

    @property
    def is_dated(self) -> bool:
        return self.kind in ("day", "moment")

    @property
    def has_to_be_said(self) -> bool:
        """In each row or once for all: a choice that nobody made is none."""
        return bool(self.once) and self.kind == "choice"


@dataclass(frozen=True)
class Layout:
    kind: str
    title: str
    columns: tuple[TableColumn, ...]
    examples: tuple[tuple[str, ...], ...] = ()  # rows, in the order of the columns
    makes_names: bool = False  # the table brings new things whose names nobody knows yet
    one_of: tuple[tuple[str, ...], ...] = ()  # columns of which one of these groups is needed
    one_of_words: str = ""
    across: frozenset[str] = frozenset()  # columns any of which stands in place of the needed ones

    def column(self, name: str) -> TableColumn:
        return next(one for one in self.columns if one.name == name)

    @property
    def names(self) -> list[str]:
        return [one.name for one in self.columns]

    def needed(self, columns: Mapping[str, int]) -> list[TableColumn]:
        """What has to be in a file that holds these columns."""
        if self.across & columns.keys():
            return []
        return [one for one in self.columns if one.needed]

    def lacks(self, columns: Mapping[str, int]) -> list[str]:
        """What has to be in every file and was not found in this one."""
        out = [one.label for one in self.needed(columns) if one.name not in columns]
        if self.one_of and not any(set(group) <= columns.keys() for group in self.one_of):
            out.append(self.one_of_words)
        return out
