"""What older papers report, brought in together: column by column, and as many as a file holds."""

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import chain
from typing import Any

from django.db import connection

from itm.accounts.actor import Actor, require_kind
from itm.core.history import note
from itm.records.models import PastBundle, PastCheckLine, PastInspection, PastResult

MARKS = 999  # of one statement, that any SQLite takes


@dataclass(frozen=True)
class Kind:
    """`brought` is what each row brings by itself, in this order; the rest is the same for the
    whole bundle. `as_text` are days and decimals, `words` what the history calls the rows."""

    model: Any
    brought: tuple[str, ...]
    as_text: frozenset[str]
    words: str

    @property
    def at_once(self) -> int:
        """Rows of one statement."""
        return MARKS // (len(self.brought) + 2)  # and their key and bundle


RESULTS = Kind(
    PastResult,
    (
        "proportioner_id", "flow_point", "tested_on", "phase", "purpose", "percent",
        "percent_typed", "flow", "flow_typed", "lower_limit", "upper_limit", "outcome", "method",
        "lot", "done_by", "paper", "note", "row",
    ),
    frozenset(("tested_on", "percent", "lower_limit", "upper_limit")),
    "results of past years",
)  # fmt: skip
CHECK_LINES = Kind(
    PastCheckLine,
    (
        "tank_id", "point", "sampled_on", "name", "value", "value_typed", "temperature_c",
        "temperature_typed", "lower_limit", "lower_typed", "upper_limit", "upper_typed", "outcome",
        "method", "origin", "laboratory", "paper", "reported_on", "lot", "done_by", "note", "row",
    ),
    frozenset(
        ("sampled_on", "value", "temperature_c", "lower_limit", "upper_limit", "reported_on")
    ),
    "lines of past concentrate checks",
)  # fmt: skip
INSPECTIONS = Kind(
    PastInspection,
    (
        "site_id", "proportioner_id", "tank_id", "equipment_id", "system_id", "requirement_id",
        "task", "done_on", "outcome", "outcome_typed", "words", "done_by", "paper", "row",
    ),
    frozenset(("done_on",)),
    "inspections of past years",
)  # fmt: skip


def require_may_bring(actor: Actor) -> None:
    require_kind(actor, "owner", "contractor", what="bring in results of past years")


Columns = Sequence[Sequence[Any]]  # in the order of `brought`, all of one length


def store(
    *, actor: Actor, kind: Kind, name: str, blocks: Iterable[Columns], at: datetime
) -> tuple[PastBundle, int]:
    """Write what was judged before, column by column, and how many rows these are.

    A hundred thousand rows pass here, so none becomes an object: they go in by COPY or
    executemany, and the history notes the bundle. The caller owns the transaction, and derives the
    duties of the sites anew.
    """
    require_may_bring(actor)
    bundle = PastBundle.objects.create(
        by=actor, organisation=actor.organisation, name=name[:120], noted_by=actor.person,
        noted_at=at,
    )  # fmt: skip
    write = _copy if connection.vendor == "postgresql" else _insert
    count = 0
    for columns in blocks:
        if columns[0]:
            write(kind, bundle, columns, count)
            count += len(columns[0])
    note(actor, "imported", of=bundle, text=f"{count} {kind.words} from {bundle.name}")
    return bundle, count


def _sql(kind: Kind) -> tuple[str, str]:
    table, quoted = kind.model._meta.db_table, connection.ops.quote_name
    columns = ", ".join(quoted(name) for name in (*kind.brought, "key", "bundle_id"))
    return quoted(table), columns


def _copy(kind: Kind, bundle: PastBundle, columns: Columns, before: int) -> None:
    table, names = _sql(kind)
    count = len(columns[0])
    rows = zip(*columns, _keys(bundle, before, count), [bundle.pk] * count, strict=True)
    with connection.cursor() as cursor:
        opened: Any = cursor.copy(f"COPY {table} ({names}) FROM STDIN")
        with opened as copy:
            for row in rows:
                copy.write_row(row)


def _insert(kind: Kind, bundle: PastBundle, columns: Columns, before: int) -> None:
    """Many rows a statement, because each statement of SQLite has a price of its own; what is the
    same in all rows of a block is bound once."""
    count = len(columns[0])
    held: dict[str, Sequence[Any]] = {
        name: _as_text(column) if name in kind.as_text else column
        for name, column in zip(kind.brought, columns, strict=True)
    }
    same = {name: column[0] for name, column in held.items() if column.count(column[0]) == count}
    held["key"] = list(_keys(bundle, before, count))
    names = [name for name in held if name not in same]
    once = [*same.values(), bundle.pk]
    rows = list(zip(*(held[name] for name in names), strict=True))
    at_once = kind.at_once
    whole = count - count % at_once
    many = [
        (*once, *chain.from_iterable(rows[start : start + at_once]))
        for start in range(0, whole, at_once)
    ]
    named = [*same, "bundle_id", *names]
    with connection.cursor() as cursor:
        cursor.executemany(_statement(kind, named, len(once), at_once), many)
        cursor.executemany(
            _statement(kind, named, len(once), 1), [(*once, *row) for row in rows[whole:]]
        )


def _statement(kind: Kind, names: Sequence[str], once: int, rows: int) -> str:
    """Numbered marks, so that the first `once` of them can stand in every row."""
    quoted = connection.ops.quote_name
    each = len(names) - once
    shared = [f"?{number}" for number in range(1, once + 1)]
    lines = [
        [*shared, *(f"?{once + row * each + number}" for number in range(1, each + 1))]
        for row in range(rows)
    ]
    values = ", ".join(f"({', '.join(line)})" for line in lines)
    table = quoted(kind.model._meta.db_table)
    # Names are ours and quoted; what came with the file goes in as parameters.
    return f"INSERT INTO {table} ({', '.join(map(quoted, names))}) VALUES {values}"  # noqa: S608


def _as_text(column: Sequence[Any]) -> list[str | None]:
    """As SQLite holds days and decimals. The same few come again and again."""
    told = {value: _told(value) for value in set(column)}
    return [told[value] for value in column]


def _told(value: Any) -> str | None:
    if value is None:
        return None
    return value.isoformat() if isinstance(value, date) else f"{value:f}"


def _keys(bundle: PastBundle, before: int, count: int) -> Iterator[str]:
    """Keys made of that of the bundle and the number of the row: RFC 9562, 5.8, custom bits."""
    start = bundle.key.hex
    start = f"{start[:12]}8{start[13:16]}8{start[17:20]}"
    if connection.vendor != "sqlite":
        start = str(uuid.UUID(f"{start}{0:012x}"))[:-12]
    return (f"{start}{number:012x}" for number in range(before, before + count))
