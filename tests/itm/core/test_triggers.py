"""The database itself refuses to change history."""

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from itm.core import triggers
from itm.core.history import Change
from itm.records.chain import verify
from tests.factories import OrganisationFactory


@pytest.mark.django_db
def test_history_refuses_update_and_delete_in_plain_sql():
    OrganisationFactory()
    assert Change.objects.count() == 1
    for statement in (
        "UPDATE core_change SET person = 'somebody else'",
        "DELETE FROM core_change",
    ):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            connection.cursor().execute(statement)
    assert Change.objects.get().person == "the system"


@pytest.mark.django_db
def test_sqlite_replace_does_not_slip_past_the_guard():
    if connection.vendor != "sqlite":
        assert connection.vendor == "postgresql"  # has no INSERT OR REPLACE
        return
    OrganisationFactory()
    replace = "INSERT OR REPLACE INTO core_change SELECT * FROM core_change"
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        connection.cursor().execute(replace)


@pytest.mark.django_db
def test_a_missing_guard_is_named():
    assert triggers.missing(connection) == []
    name = sorted(triggers._present(connection))[0]
    table = triggers._present(connection)[name]
    on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
    connection.cursor().execute(f'DROP TRIGGER "{name}"{on}')
    assert triggers.missing(connection) == [name]
    triggers.lay(connection)
    assert triggers.missing(connection) == []


# As laid ------------------------------------------------------------------------------------------

UPDATES = {"sqlite": "guard_core_change_update", "postgresql": "guard_core_change_change"}


def on_postgresql():
    """Whether this run is on PostgreSQL; else it is on SQLite, which has nothing to switch off."""
    assert connection.vendor in UPDATES
    return connection.vendor == "postgresql"


def run(*statements):
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def hollow(name, table):
    """A trigger of this name that lets everything pass."""
    if not on_postgresql():
        return [
            f"DROP TRIGGER {name}",
            f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} FOR EACH ROW BEGIN SELECT 1; END",
        ]
    return [
        "CREATE FUNCTION nothing() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$",
        f"DROP TRIGGER {name} ON {table}",
        f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW "
        "EXECUTE FUNCTION nothing()",
    ]


def mended_by_laying():
    triggers.lay(connection)
    assert triggers.faults(connection) == {}


@pytest.mark.django_db
def test_a_guard_that_lets_everything_pass_is_named():
    OrganisationFactory()
    name = UPDATES[connection.vendor]
    run(*hollow(name, "core_change"), "UPDATE core_change SET person = 'Nobody'")
    assert triggers.faults(connection) == {name: "does something else"}
    assert triggers.missing(connection) == [name]
    assert f"The guard {name} does something else" in " ".join(f.sentence for f in verify())
    mended_by_laying()


@pytest.mark.django_db
def test_a_rule_of_one_model_is_compared_too():
    name = "guard_records_notice_delete"
    if on_postgresql():
        body = "$$ BEGIN RETURN OLD; END $$"
        run(
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS {body}"
        )  # the trigger itself stays as it was
    else:
        run(*hollow(name, "records_notice"))
    assert triggers.faults(connection) == {name: "does something else"}
    mended_by_laying()


@pytest.mark.django_db
def test_a_function_that_refuses_no_more_is_named_with_every_guard_that_calls_it():
    if not on_postgresql():
        return
    run(
        "CREATE OR REPLACE FUNCTION itm_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RETURN NEW; END $$"
    )
    faults = triggers.faults(connection)
    assert faults["guard_core_change_change"] == "does something else"
    assert faults["guard_core_change_truncate"] == "does something else"
    mended_by_laying()


@pytest.mark.django_db
@pytest.mark.parametrize("how", ["DISABLE TRIGGER", "ENABLE REPLICA TRIGGER"])
def test_a_guard_that_is_switched_off_is_named_and_laid_anew(how):
    if not on_postgresql():
        return
    name = UPDATES["postgresql"]
    run(f"ALTER TABLE core_change {how} {name}")
    assert triggers.faults(connection) == {name: "is switched off"}
    mended_by_laying()


@pytest.mark.django_db
def test_all_guards_switched_off_at_once_are_named():
    if not on_postgresql():
        return
    run("SET LOCAL session_replication_role = replica")
    assert triggers.faults(connection) == {"session_replication_role": "switches all guards off"}
    run("SET LOCAL session_replication_role = origin")
    assert triggers.faults(connection) == {}


@pytest.mark.django_db
def test_a_trigger_of_somebody_else_on_a_guarded_table_is_named():
    run(*hollow(UPDATES[connection.vendor], "core_change"))
    triggers.lay(connection)
    body = "EXECUTE FUNCTION nothing()" if on_postgresql() else "BEGIN SELECT 1; END"
    run(f"CREATE TRIGGER quiet BEFORE INSERT ON core_change FOR EACH ROW {body}")
    assert triggers.faults(connection) == {"quiet": "is none of this program"}
    assert triggers.missing(connection) == []


@pytest.mark.django_db(transaction=True)
def test_migrate_lays_the_guards_that_are_missing_and_is_not_stopped_by_them(capsys):
    """As after an update that brings a new guard, which no database in use can hold yet."""
    triggers.drop(connection)
    assert triggers.missing(connection)
    call_command("check", databases=["default"])
    assert "itm.W002" in capsys.readouterr().err
    call_command("migrate", verbosity=0)
    assert triggers.missing(connection) == []
