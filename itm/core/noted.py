"""Rows laid beside their own history: is a row still what its last line says that it became?"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

from django.core.exceptions import ValidationError

from itm.core.history import Change, Tracked, as_noted

AT_A_TIME = 500


def unlike(rows: Iterable[Tracked]) -> Iterator[tuple[Tracked, str]]:
    """Each row and column that is not as noted last; without a column, a row of which no line says
    that it was made. A query for each model and 500 rows."""
    by_model: dict[type[Tracked], list[Tracked]] = {}
    for row in rows:
        by_model.setdefault(type(row), []).append(row)
    for model, some in by_model.items():
        for start in range(0, len(some), AT_A_TIME):
            yield from _unlike(model, some[start : start + AT_A_TIME])


def _unlike(model: type[Tracked], some: Sequence[Tracked]) -> Iterator[tuple[Tracked, str]]:
    said: dict[Any, dict[str, Any]] = {}
    lines = Change.objects.filter(
        model=model._meta.label, object_key__in=[row.key for row in some]
    )  # fmt: skip
    for key, after in lines.order_by("pk").values_list("object_key", "after"):
        said.setdefault(key, {}).update(after)
    fields = {field.attname: field for field in model._meta.concrete_fields}
    for row in some:
        last = said.get(row.key)
        if not last:
            yield row, ""
            continue
        for name, value in last.items():
            # A column that is gone since is in no row, and a clock of a column is not yet noted.
            field = fields.get(name)
            if field is None or getattr(field, "auto_now_add", False):
                continue
            if not _same(field, as_noted(getattr(row, name)), value):
                yield row, name


def _same(field: Any, now: Any, was: Any) -> bool:
    """History keeps text of what JSON has no type for, and instants to the thousandth."""
    if field.is_relation and isinstance(was, str):
        return True  # the key of a row that did not come along with an archive
    try:
        then = field.to_python(was)
    except ValidationError:
        return False
    if isinstance(now, datetime) and isinstance(then, datetime):
        return _cut(now) == _cut(then)
    return bool(now == then)


def _cut(at: datetime) -> datetime:
    at = at.astimezone(UTC)
    return at.replace(microsecond=at.microsecond // 1000 * 1000)
