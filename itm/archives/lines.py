"""The history of an archive's rows: which lines, and the keys in them in place of primary keys."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from itm.archives.columns import pointing, told
from itm.archives.tables import BY_NAME, NATURAL, TABLES, Model, Sight, Table
from itm.core.history import Change

AT_A_TIME = 500
OF: dict[str, Table] = {table.model._meta.label: table for table in TABLES if table.history}
COLUMNS = ("at", "person_key", "person", "organisation", "via", "verb", "note")


def lines(sight: Sight, keys: Mapping[str, Sequence[str]]) -> Iterator[dict[str, Any]]:
    """Of the rows with these keys by table, in the order in which they were written. Only their
    numbers are held all at once."""
    wanted: list[int] = []
    for table in OF.values():
        own = keys.get(table.name, ())
        if table.told:
            own = [str(key) for key in table.told(sight).values_list("key", flat=True)]
        of = Change.objects.filter(model=table.model._meta.label).order_by()
        for start in range(0, len(own), AT_A_TIME):
            some = of.filter(object_key__in=own[start : start + AT_A_TIME])
            wanted += some.values_list("pk", flat=True)
    wanted.sort()
    for start in range(0, len(wanted), AT_A_TIME):
        some = Change.objects.filter(pk__in=wanted[start : start + AT_A_TIME]).order_by("pk")
        yield from _chunk(list(some))


def _chunk(some: Sequence[Change]) -> Iterator[dict[str, Any]]:
    keys = _keys(some)
    for change in some:
        table = OF[change.model]
        out = {name: told(getattr(change, name)) for name in COLUMNS}
        out |= {"of": table.name, "key": told(change.object_key)}
        for side in ("before", "after"):
            out[side] = _with_keys(table, getattr(change, side), keys)
        yield out


def _ways(table: Table) -> dict[str, Model]:
    """Names under which the history of these rows holds a primary key."""
    fields: Any = table.model._meta.concrete_fields
    return {field.attname: field.related_model for field in fields if field.is_relation}


def _with_keys(table: Table, held: dict[str, Any], keys: dict[tuple[Model, int], Any]) -> Any:
    ways = _ways(table)
    return {
        name: keys.get((ways[name], value)) if name in ways and isinstance(value, int) else value
        for name, value in held.items()
    }


def _keys(some: Sequence[Change]) -> dict[tuple[Model, int], Any]:
    """What each primary key in these lines stands for; one query a table."""
    wanted: dict[Model, set[int]] = {}
    for change in some:
        ways = _ways(OF[change.model])
        for side in (change.before, change.after):
            for name, value in side.items():
                if name in ways and isinstance(value, int):
                    wanted.setdefault(ways[name], set()).add(value)
    out: dict[tuple[Model, int], Any] = {}
    for model, pks in wanted.items():
        names = NATURAL.get(model, ("key",))
        rows: Any = model._default_manager.filter(pk__in=pks).values_list("pk", *names)
        for pk, *found in rows:
            out[model, pk] = told(found[0]) if len(found) == 1 else [told(one) for one in found]
    return out


def brought(line: dict[str, Any], pks: dict[Model, dict[Any, int]]) -> Change:
    """A line of an archive as a row of this installation: where a key names a row that came along,
    its primary key here; the key of any other stays as it is."""
    table = BY_NAME[line["of"]]
    ways = _ways(table)

    def here(held: dict[str, Any]) -> dict[str, Any]:
        return {
            name: pks.get(ways[name], {}).get(pointing(value), value)
            if name in ways and value is not None
            else value
            for name, value in held.items()
        }

    field = Change._meta.get_field
    return Change(
        model=table.model._meta.label,
        object_key=line["key"],
        before=here(line["before"]),
        after=here(line["after"]),
        **{name: field(name).to_python(line[name]) for name in COLUMNS},  # type: ignore[union-attr]
    )
