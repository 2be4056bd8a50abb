"""Results that older papers report: brought in together, read, and withdrawn with a reason."""

import uuid
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import chain
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from itm.accounts.actor import Actor, require_kind
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import note
from itm.records.drafts import over
from itm.records.models import PastBundle, PastResult, PastWithdrawal
from itm.registry.access import works_at
from itm.registry.models import Proportioner, Site

# What each row brings by itself, in this order; the rest is the same for the whole bundle.
BROUGHT = (
    "proportioner_id", "flow_point", "tested_on", "phase", "purpose", "percent", "percent_typed",
    "flow", "flow_typed", "lower_limit", "upper_limit", "outcome", "method", "lot", "done_by",
    "paper", "note", "row",
)  # fmt: skip
AS_TEXT = frozenset(("tested_on", "percent", "lower_limit", "upper_limit"))
# No earlier day of a test is believed; own choice, wide enough for the oldest foam systems.
EARLIEST = date(1940, 1, 1)
AT_ONCE = 48  # rows of one statement: below the 999 marks that any SQLite takes


def require_may_bring(actor: Actor) -> None:
    require_kind(actor, "owner", "contractor", what="bring in results of past years")


Columns = Sequence[Sequence[Any]]  # in the order of `BROUGHT`, all of one length


def store(
    *, actor: Actor, name: str, blocks: Iterable[Columns], at: datetime
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
        write(bundle, columns, count)
        count += len(columns[0])
    note(actor, "imported", of=bundle, text=f"{count} results of past years from {bundle.name}")
    return bundle, count


def _sql() -> tuple[str, str]:
    table, quoted = PastResult._meta.db_table, connection.ops.quote_name
    columns = ", ".join(quoted(name) for name in (*BROUGHT, "key", "bundle_id"))
    return quoted(table), columns


def _copy(bundle: PastBundle, columns: Columns, before: int) -> None:
    table, names = _sql()
    count = len(columns[0])
    rows = zip(*columns, _keys(bundle, before, count), [bundle.pk] * count, strict=True)
    with connection.cursor() as cursor:
        opened: Any = cursor.copy(f"COPY {table} ({names}) FROM STDIN")
        with opened as copy:
            for row in rows:
                copy.write_row(row)


def _insert(bundle: PastBundle, columns: Columns, before: int) -> None:
    """Many rows a statement, because each statement of SQLite has a price of its own; what is the
    same in all rows of a block is bound once."""
    count = len(columns[0])
    held: dict[str, Sequence[Any]] = {
        name: _as_text(column) if name in AS_TEXT else column
        for name, column in zip(BROUGHT, columns, strict=True)
    }
    same = {name: column[0] for name, column in held.items() if column.count(column[0]) == count}
    held["key"] = list(_keys(bundle, before, count))
    names = [name for name in held if name not in same]
    once = [*same.values(), bundle.pk]
    rows = list(zip(*(held[name] for name in names), strict=True))
    whole = count - count % AT_ONCE
    many = [
        (*once, *chain.from_iterable(rows[start : start + AT_ONCE]))
        for start in range(0, whole, AT_ONCE)
    ]
    named = [*same, "bundle_id", *names]
    with connection.cursor() as cursor:
        cursor.executemany(_statement(named, len(once), AT_ONCE), many)
        cursor.executemany(_statement(named, len(once), 1), [(*once, *row) for row in rows[whole:]])


def _statement(names: Sequence[str], once: int, rows: int) -> str:
    """Numbered marks, so that the first `once` of them can stand in every row."""
    quoted = connection.ops.quote_name
    each = len(names) - once
    shared = [f"?{number}" for number in range(1, once + 1)]
    lines = [
        [*shared, *(f"?{once + row * each + number}" for number in range(1, each + 1))]
        for row in range(rows)
    ]
    values = ", ".join(f"({', '.join(line)})" for line in lines)
    table = quoted(PastResult._meta.db_table)
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


# What is withdrawn --------------------------------------------------------------------------------


def withdraw_bundle(*, actor: Actor, bundle: PastBundle, because: str, at: datetime) -> list[Site]:
    """All of it counts no more; the rows stay. May run twice. The sites whose duties may change.

    Raises Forbidden; Refused reason_missing.
    """
    if bundle.organisation_id != actor.organisation_id:
        raise Forbidden("Only who brought these results in can take them back.")
    rows = PastResult.objects.filter(bundle=bundle)
    sites = list(Site.objects.filter(systems__proportioners__past_results__in=rows).distinct())
    for site in sites:
        if not works_at(actor, site):
            raise Forbidden(over(site))
    if not because.strip():
        raise Refused("reason_missing", "Say why these results are taken back.", "because")
    if bundle.withdrawn_at is None:
        bundle.withdrawn_at, bundle.withdrawn_by = at, actor.person
        bundle.withdrawn_because = because.strip()[:200]
        bundle.save(by=actor, verb="withdrawn")
    return sites


def may_withdraw(actor: Actor, result: PastResult) -> bool:
    """The owner of the site, and who brought it in while it works there."""
    site = result.proportioner.system.site
    known = actor.organisation_id in (result.bundle.organisation_id, site.owner_id)
    return known and works_at(actor, site)


def require_may_withdraw(actor: Actor, result: PastResult) -> None:
    if not may_withdraw(actor, result):
        raise Forbidden(
            "Only the owner of the site, and who brought it in while it is engaged there, can "
            "withdraw it."
        )


def withdraw(*, actor: Actor, result: PastResult, reason: str, at: datetime) -> PastWithdrawal:
    """One result counts no more; its line stays. May run twice: the first reason stands.

    Raises Forbidden; Refused reason_missing.
    """
    require_may_withdraw(actor, result)
    there = PastWithdrawal.objects.filter(result=result).first()
    if there is not None:
        return there
    if not reason.strip():
        raise Refused("reason_missing", "Say why this result does not count.", "reason")
    return PastWithdrawal.objects.create(
        by=actor, result=result, at=at, person=actor.person,
        organisation=actor.organisation_name[:120], reason=reason.strip()[:200],
    )  # fmt: skip


# What a person may read ---------------------------------------------------------------------------


def results(actor: Actor) -> QuerySet[PastResult]:
    """In force, those that the person may see, the newest first."""
    rows = PastResult.objects.visible_to(actor).in_force()
    rows = rows.select_related("bundle", "proportioner__system__site")
    return rows.order_by("-tested_on", "-pk")


def of_proportioner(actor: Actor, device: Proportioner) -> list[PastResult]:
    """Oldest first."""
    return list(results(actor).filter(proportioner=device).order_by("tested_on", "phase", "pk"))


def result(actor: Actor, key: UUID) -> PastResult:
    """With what was withdrawn, which says so. Raises NotFound."""
    rows = PastResult.objects.visible_to(actor).select_related(
        "bundle__organisation", "withdrawal", "proportioner__system__site"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("result of older papers", key)
    return row


def days_of(sites: Iterable[int]) -> dict[int, list[date]]:
    """Days of the tests as found that older papers report, by proportioner. One query."""
    rows = PastResult.objects.in_force().filter(proportioner__system__site__in=list(sites))
    rows = rows.filter(phase=PastResult.Phase.AS_FOUND).order_by()
    out: dict[int, list[date]] = {}
    for device, day in rows.values_list("proportioner", "tested_on").distinct():
        out.setdefault(device, []).append(day)
    return out


Same = tuple[int, str, date, str]  # proportioner, flow point folded, day, phase


def standing(devices: Iterable[int], days: Iterable[date]) -> dict[Same, Decimal]:
    """What is in force already of these devices between the first and the last of these days."""
    between = sorted(days)
    if not between:
        return {}
    rows = PastResult.objects.in_force().filter(
        proportioner__in=set(devices), tested_on__range=(between[0], between[-1])
    )
    columns = ("proportioner", "flow_point", "tested_on", "phase", "percent")
    return {
        (device, point.casefold(), day, phase): percent
        for device, point, day, phase, percent in rows.order_by().values_list(*columns)
    }
