"""Every guarded row of a record, column by column, as the seal holds it.

The rest of the document is for people; this part is what `verify` lays beside the tables, so that
a row changed past all guards is found and named down to its column.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models.fields.files import FieldFile

from itm.records.models import ConcentrateCheck, ProportioningTest

Tables = dict[str, list[models.Model]]

# Set by the act of sealing itself; `verify` looks at them on their own.
BY_SEALING = {"id", "state", "sealed_at"}


def guarded(test: ProportioningTest) -> Tables:
    """The rows that the seal closes, by table, from a test as `loading.whole` gives it."""
    runs = list(test.runs.all())
    if test.bench is None:
        return {
            "test": [test],
            "direct": [test.direct],
            "runs": [*runs],
            "direct_runs": [run.direct for run in runs],
            **_of_visit(test),
        }
    bottles = [*test.bench.bottles.all(), *(b for run in runs for b in run.bottles.all())]
    return {
        "test": [test],
        "runs": [*runs],
        **_of_visit(test),
        "bench": [test.bench],
        "bottles": [*bottles],
        "readings": [r for b in bottles for r in b.readings.all()],
    }


def _of_visit(test: ProportioningTest) -> Tables:
    lines = [
        line
        for line in test.visit.restoration_lines.all()
        # A line that puts an earlier one back may come long after the seal.
        if line.proportioner_id == test.proportioner_id and line.follows_id is None
    ]
    return {"flush_steps": list(test.flush_steps.all()), "restoration_lines": [*lines]}


def guarded_of_check(check: ConcentrateCheck) -> Tables:
    """The same of a concentrate check."""
    samples = list(check.samples.all())
    return {
        "check": [check],
        "reports": [*check.laboratory_reports.all()],
        "samples": [*samples],
        "values": [v for sample in samples for v in sample.values.all()],
    }


def rows(tables: Tables) -> dict[str, list[dict[str, Any]]]:
    """Every row of these tables, column by column."""
    keys = _keys(row for table in tables.values() for row in table)
    return {
        name: sorted((_columns(row, keys) for row in table), key=lambda r: r["key"])
        for name, table in tables.items()
    }


def _keys(every: Iterable[models.Model]) -> dict[tuple[type[models.Model], int], str]:
    """Key of each row that a foreign key points to, one query a table."""
    wanted: dict[type[models.Model], set[int]] = {}
    for row in every:
        for field in row._meta.concrete_fields:
            pk = getattr(row, field.attname)
            if isinstance(field, models.ForeignKey) and pk is not None:
                wanted.setdefault(field.related_model, set()).add(pk)
    return {
        (model, pk): str(key)
        for model, pks in wanted.items()
        for pk, key in model._default_manager.filter(pk__in=pks).values_list("pk", "key")
    }


def _columns(row: models.Model, keys: dict[tuple[type[models.Model], int], str]) -> dict[str, Any]:
    out = {}
    for field in row._meta.concrete_fields:
        if field.name in BY_SEALING:
            continue
        value = getattr(row, field.attname)
        if isinstance(field, models.ForeignKey):
            value = None if value is None else keys[field.related_model, value]
        out[field.name] = plain(value)
    return out


def plain(value: Any) -> Any:
    """A column's value as JSON holds it, the same from every database."""
    match value:
        case datetime():
            return value.astimezone(UTC).isoformat()
        case date():
            return value.isoformat()
        case Decimal():
            return format(value.normalize(), "f")
        case UUID():
            return str(value)
        case FieldFile():
            return value.name
        case _:
            return value
