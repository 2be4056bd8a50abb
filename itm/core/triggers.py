"""Guards in the database itself, on PostgreSQL and SQLite.

A model names its guard:
  guard = "append_only"   no UPDATE, no DELETE, ever
  guard = "sealed"        no UPDATE, no DELETE once its own `sealed_at` is set
  guard = "kept"          no DELETE ever, and no UPDATE once `guard_column` is set, where it has one
  guard_parent = "test"   and no INSERT under a parent (named foreign key) whose `sealed_at` is set
  guard_rules = {name: Rule(…)}   and what is refused of this model alone, in SQL of OLD and NEW

SQLite drops a table's triggers silently when a migration rebuilds it, and a trigger that looks at
another table breaks that table's rebuild. So all are dropped before migrate and laid after it, and
a system check asks whether they stand as they were laid, and nothing beside them.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper


@dataclass(frozen=True)
class Rule:
    """No row may be written while `refused` holds: SQL of OLD and NEW that both databases read."""

    verb: str  # INSERT, UPDATE or DELETE
    refused: str
    sentence: str


REFUSAL = "itm: sealed rows and history are never changed"

POSTGRES_FUNCTIONS = f"""
CREATE OR REPLACE FUNCTION itm_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; END $$;
CREATE OR REPLACE FUNCTION itm_refuse_child() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE sealed timestamptz;
BEGIN
  EXECUTE format('SELECT sealed_at FROM %I WHERE id = $1', TG_ARGV[0])
    INTO sealed USING (to_jsonb(NEW) ->> TG_ARGV[1])::bigint;
  IF sealed IS NOT NULL THEN
    RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END $$;
"""


# The functions of these texts by name, and the one that a trigger calls.
FUNCTION = re.compile(
    r'FUNCTION "?(\w+)"?\(\) RETURNS trigger LANGUAGE plpgsql AS \$\$(.*?)\$\$', re.DOTALL
)
CALLED = re.compile(r'EXECUTE FUNCTION "?(\w+)"?\(')


def _guarded() -> list[type[models.Model]]:
    return [m for m in apps.get_models() if getattr(m, "guard", "") or _rules(m)]


def _rules(model: type[models.Model]) -> dict[str, Rule]:
    """Under the names of their triggers. Laid from the code of today with every migrate, so that a
    rule may follow a list; where the list stands in its name, an older trigger counts as missing.
    """
    rules: dict[str, Rule] = getattr(model, "guard_rules", {})
    return {f"guard_{model._meta.db_table}_{name}": rule for name, rule in rules.items()}


def _function(name: str, rule: Rule) -> str:
    """PostgreSQL has no query in the WHEN of a trigger, so the rule stands in its function."""
    row = "OLD" if rule.verb == "DELETE" else "NEW"
    return f"""
CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF {rule.refused} THEN
    RAISE EXCEPTION 'itm: {rule.sentence}' USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN {row};
END $$;
"""


def _parent(model: type[models.Model]) -> tuple[str, str] | None:
    """Table of the guarding parent and the column that points to it."""
    name = getattr(model, "guard_parent", "")
    if not name:
        return None
    field: Any = model._meta.get_field(name)
    return field.related_model._meta.db_table, field.column


def _verbs(model: Any) -> tuple[str, ...]:
    """What the guard of this model may refuse."""
    ends = model.guard != "kept" or hasattr(model, "guard_column")
    return ("UPDATE", "DELETE") if ends else ("DELETE",)


def _when(model: Any, verb: str) -> str:
    """The condition under which a guard refuses; none where it always does."""
    if model.guard == "append_only" or (model.guard == "kept" and verb == "DELETE"):
        return ""
    column = model.guard_column if model.guard == "kept" else "sealed_at"
    return f"WHEN (OLD.{column} IS NOT NULL)"


def _sqlite(model: type[models.Model]) -> dict[str, str]:
    table = model._meta.db_table
    refuse = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    out = {
        name: f'BEFORE {rule.verb} ON "{table}" FOR EACH ROW WHEN {rule.refused} '
        f"BEGIN SELECT RAISE(ABORT, 'itm: {rule.sentence}'); END"
        for name, rule in _rules(model).items()
    }
    if not getattr(model, "guard", ""):
        return out
    out |= {
        f"guard_{table}_{verb.lower()}": (
            f'BEFORE {verb} ON "{table}" FOR EACH ROW {_when(model, verb)} {refuse}'
        )
        for verb in _verbs(model)
    }
    if parent := _parent(model):
        there = f'SELECT 1 FROM "{parent[0]}" WHERE id = NEW."{parent[1]}"'
        out[f"guard_{table}_insert"] = (
            f'BEFORE INSERT ON "{table}" FOR EACH ROW '
            f"WHEN EXISTS ({there} AND sealed_at IS NOT NULL) {refuse}"
        )
    return out


def _postgres(model: type[models.Model]) -> dict[str, str]:
    table = model._meta.db_table
    refuse = "EXECUTE FUNCTION itm_refuse()"
    out = {
        name: f'BEFORE {rule.verb} ON "{table}" FOR EACH ROW EXECUTE FUNCTION "{name}"()'
        for name, rule in _rules(model).items()
    }
    if not getattr(model, "guard", ""):
        return out
    verbs = {verb.lower(): verb for verb in _verbs(model)}
    if len({_when(model, verb) for verb in _verbs(model)}) < len(verbs):
        verbs = {"change": "UPDATE OR DELETE"}
    out |= {
        f"guard_{table}_{name}": (
            f'BEFORE {verb} ON "{table}" FOR EACH ROW {_when(model, verb)} {refuse}'
        )
        for name, verb in verbs.items()
    }
    out[f"guard_{table}_truncate"] = f'BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT {refuse}'
    if parent := _parent(model):
        out[f"guard_{table}_insert"] = (
            f'BEFORE INSERT ON "{table}" FOR EACH ROW '
            f"EXECUTE FUNCTION itm_refuse_child('{parent[0]}', '{parent[1]}')"
        )
    return out


def _wanted(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """Name → (table, body) of every guard whose table exists."""
    make = _postgres if connection.vendor == "postgresql" else _sqlite
    tables = set(connection.introspection.table_names())
    return {
        name: (m._meta.db_table, body)
        for m in _guarded()
        if m._meta.db_table in tables
        for name, body in make(m).items()
    }


@dataclass(frozen=True)
class Laid:
    """A trigger as the database holds it."""

    table: str
    text: str
    on: bool = True
    function: str = ""  # PostgreSQL: what stands in the function that it calls


def _triggers(connection: BaseDatabaseWrapper) -> dict[str, Laid]:
    """Every trigger of the database by name, but for those that keep its references."""
    if connection.vendor == "postgresql":
        query = (
            "SELECT tgname, relname, pg_get_triggerdef(t.oid, true), tgenabled IN ('O', 'A'), "
            "CASE WHEN lanname = 'plpgsql' AND NOT prosecdef AND proconfig IS NULL "
            "THEN prosrc ELSE '' END FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid "
            "JOIN pg_proc p ON p.oid = tgfoid JOIN pg_language l ON l.oid = prolang "
            "WHERE NOT tgisinternal AND pg_table_is_visible(c.oid)"
        )
    else:
        query = "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {name: Laid(*rest) for name, *rest in cursor.fetchall()}


def _present(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """Name → table of the guards that the database holds now, whatever they do."""
    held = _triggers(connection)
    return {name: laid.table for name, laid in held.items() if name.startswith("guard_")}


def _normal(text: str) -> str:
    """PostgreSQL tells a trigger in words of its own: what they leave of ours."""
    words = " ".join(text.replace('"', "").lower().split())
    return words.replace("update or delete", "delete or update")


def _functions() -> dict[str, str]:
    """Name → source of each function that a guard of PostgreSQL calls."""
    texts = [POSTGRES_FUNCTIONS]
    texts += [_function(name, rule) for m in _guarded() for name, rule in _rules(m).items()]
    return dict(FUNCTION.findall("".join(texts)))


def _same(name: str, body: str, laid: Laid, functions: dict[str, str] | None) -> bool:
    ours = f'CREATE TRIGGER "{name}" {body}'
    if functions is None:
        return laid.text == ours
    called = CALLED.findall(body)[0]
    return _normal(laid.text) == _normal(ours) and laid.function == functions[called]


def faults(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """Name → what is wrong with each trigger that does not stand as `lay` lays it, and with each
    that somebody else laid on a guarded table: it may undo what a guard refuses."""
    wanted, held = _wanted(connection), _triggers(connection)
    functions = _functions() if connection.vendor == "postgresql" else None
    tables = {table for table, _ in wanted.values()}
    out = {}
    for name, (table, body) in wanted.items():
        laid = held.get(name)
        if laid is None or laid.table != table:
            out[name] = "is missing"
        elif not laid.on:
            out[name] = "is switched off"
        elif not _same(name, body, laid, functions):
            out[name] = "does something else"
    for name in held.keys() - wanted.keys():
        if held[name].table in tables:
            out[name] = "is none of this program"
    if functions is not None and _switched_off(connection):
        out["session_replication_role"] = "switches all guards off"
    return dict(sorted(out.items()))


def _switched_off(connection: BaseDatabaseWrapper) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SHOW session_replication_role")
        return bool(cursor.fetchone()[0] == "replica")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Guards that do not stand as they are laid."""
    wrong = faults(connection)
    return [name for name in _wanted(connection) if name in wrong]


def drop(connection: BaseDatabaseWrapper) -> None:
    with connection.cursor() as cursor:
        for name, table in _present(connection).items():
            on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER "{name}"{on}')
            if connection.vendor == "postgresql":
                cursor.execute(f'DROP FUNCTION IF EXISTS "{name}"()')


def drop_one(connection: BaseDatabaseWrapper, name: str) -> None:
    """One guard, inside a transaction that lays all of them again before it ends."""
    table = _present(connection)[name]
    on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"{on}')


def lay(connection: BaseDatabaseWrapper) -> None:
    """Drop and create, so that a changed body replaces the old one. May run twice."""
    drop(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRES_FUNCTIONS)
            for model in _guarded():
                for name, rule in _rules(model).items():
                    cursor.execute(_function(name, rule))
        for name, (_, body) in _wanted(connection).items():
            cursor.execute(f'CREATE TRIGGER "{name}" {body}')


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """For the tests' flush only: nothing in the product calls this."""
    drop(connection)
    try:
        yield
    finally:
        lay(connection)


def drop_before_migrate(using: str, **kwargs: Any) -> None:
    drop(connections[using])


def lay_after_migrate(using: str, **kwargs: Any) -> None:
    lay(connections[using])
