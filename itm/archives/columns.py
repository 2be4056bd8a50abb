"""A row as JSON and back: keys for primary keys, every other value so that it comes back the same.

Numbers of the database's decimal type and instants are text; files and bytes are named by their
place in the archive.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import ExpressionWrapper, Q

from itm.archives.tables import BY_MODEL, LEFT_OUT_COLUMNS, NATURAL, Model, Table
from itm.core.errors import Refused
from itm.schedule.models import Requirement

# What the product itself calls a stored file; nothing else is written to the disk.
STORED = re.compile(r"[a-z][a-z-]{0,30}/[0-9a-f]{32}(?:\.[A-Za-z0-9]{1,8})?")
FOLDERS = {
    ("attachments", "file"): "attachments",
    ("attachments", "preview"): "previews",
    ("authority-files", "file"): "authority",
    ("authority-files", "preview"): "authority-previews",
    ("laboratory-reports", "file"): "laboratory",
    ("reports", "file"): "reports",
    ("seals", "document"): "sealed",
    ("moves", "document"): "handed-in",
}


@dataclass(frozen=True)
class Column:
    """`paths`: what is asked of the database for it; several where it points to a row without a
    key of its own."""

    name: str
    field: Any
    paths: tuple[str, ...]

    @property
    def points_to(self) -> Table | None:
        return BY_MODEL[self.field.related_model] if self.field.is_relation else None

    @property
    def is_file(self) -> bool:
        return isinstance(self.field, models.FileField)

    @property
    def is_bytes(self) -> bool:
        return isinstance(self.field, models.BinaryField)


@cache
def columns(table: Table) -> tuple[Column, ...]:
    """In the order of the model, without the primary key."""
    left = LEFT_OUT_COLUMNS.get(table.model, frozenset())
    return tuple(
        Column(field.name, field, _paths(field))
        for field in table.model._meta.concrete_fields
        if not field.primary_key and field.name not in left
    )


def _paths(field: Any) -> tuple[str, ...]:
    if not field.is_relation:
        return (field.name,)
    ways = NATURAL.get(field.related_model, ("key",))
    return tuple(f"{field.name}__{way}" for way in ways)


def identity(table: Table, row: Mapping[str, Any]) -> Any:
    """By what other rows name this one: its key, or the names of a rule that everybody has."""
    if table.model is Requirement:
        return (*row["programme"], row["code"])
    names = tuple(row[way] for way in table.natural)
    return names[0] if len(names) == 1 else names


def pointing(value: Any) -> Any:
    """What a row says of another, as `identity` has it."""
    return tuple(value) if isinstance(value, list) else value


def told(value: Any) -> Any:
    """A value as JSON holds it."""
    match value:
        case datetime():
            return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
        case date():
            return value.isoformat()
        case Decimal() | UUID():
            return str(value)
        case _:
            return value


def line(value: Mapping[str, Any]) -> bytes:
    """One row: names in order, nothing but what JSON knows."""
    text = json.dumps(
        value, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    return text.encode() + b"\n"


Place = Callable[[str], bool]  # whether the store holds a file of this name


class Reader:
    """Rows of one table as mappings ready for JSON, with the primary keys that they point to.
    `gone`: what the store called the files that were let go by decision."""

    def __init__(
        self, table: Table, rows: Any, there: Place, without: frozenset[str] = frozenset(),
        gone: frozenset[str] = frozenset(),
    ) -> None:  # fmt: skip
        self.table, self.there, self.gone = table, there, gone
        self.columns = [column for column in columns(table) if column.name not in without]
        extra = dict(table.extra or {})
        paths = ["pk"]
        for column in self.columns:
            if column.is_bytes:
                extra[f"has_{column.name}"] = ExpressionWrapper(
                    Q(**{f"{column.name}__isnull": False}), models.BooleanField()
                )
                paths.append(f"has_{column.name}")
                continue
            paths += column.paths
            if column.field.is_relation:
                paths.append(column.field.attname)
        paths += list(table.extra or {})
        self.paths = list(dict.fromkeys(paths))
        order = ["pk"] if table.natural == ("key",) else list(table.natural)
        self._rows = rows.annotate(**extra).order_by(*order).values_list(*self.paths)
        self.lacking: list[str] = []

    def __iter__(self) -> Iterator[tuple[int, dict[str, Any], list[tuple[Model, int]]]]:
        ways = [(c.field.related_model, c.field.attname) for c in self.columns if c.points_to]
        for values in self._rows.iterator(chunk_size=500):
            held = dict(zip(self.paths, values, strict=True))
            points = [(model, held[name]) for model, name in ways if held[name] is not None]
            yield held["pk"], self._row(held), points

    def _row(self, held: dict[str, Any]) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for column in self.columns:
            if column.is_bytes:
                has = held[f"has_{column.name}"]
                out[column.name] = self._place(column, held, ".json") if has else None
            elif column.is_file:
                out[column.name] = self._file(column, held)
            elif column.field.is_relation:
                out[column.name] = self._pointed(column, held)
            else:
                out[column.name] = told(held[column.name])
        return out

    def _pointed(self, column: Column, held: dict[str, Any]) -> Any:
        if held[column.field.attname] is None:
            return None
        names = [told(held[path]) for path in column.paths]
        return names[0] if len(names) == 1 else names

    def _place(self, column: Column, held: dict[str, Any], suffix: str) -> str:
        folder = FOLDERS[self.table.name, column.name]
        number = held.get("number") if self.table.name == "seals" else held.get("seal_number")
        name = f"seal-{number:05d}" if number else str(held["key"])
        return f"{folder}/{name}{suffix}"

    def _file(self, column: Column, held: dict[str, Any]) -> dict[str, Any] | None:
        name = held[column.name]
        if not name:
            return None
        if held.get("withdrawn_at") or name in self.gone:
            # Nobody is shown what was withdrawn; and what was let go is nowhere.
            return {"stored_as": name, "place": None}
        suffix = f".{name.rsplit('.', 1)[1]}" if "." in name else ""
        place = self._place(column, held, suffix)
        if not self.there(name):
            self.lacking.append(place)
            return {"stored_as": name, "place": None}
        return {"stored_as": name, "place": place}


def value_of(column: Column, value: Any, place: str) -> Any:
    """From JSON what the column holds. Refused bad_value, named by the place in the archive."""
    if value is None:
        return None
    try:
        return column.field.to_python(value)
    except (ValidationError, TypeError, ValueError) as wrong:
        raise Refused(
            "bad_value", f"{place}: {value!r} is nothing that “{column.name}” can hold."
        ) from wrong
