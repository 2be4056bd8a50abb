"""The database itself refuses to change history."""

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from itm.core import triggers
from itm.core.history import Change
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


@pytest.mark.django_db(transaction=True)
def test_migrate_lays_the_guards_that_are_missing_and_is_not_stopped_by_them(capsys):
    """As after an update that brings a new guard, which no database in use can hold yet."""
    triggers.drop(connection)
    assert triggers.missing(connection)
    call_command("check", databases=["default"])
    assert "itm.W002" in capsys.readouterr().err
    call_command("migrate", verbosity=0)
    assert triggers.missing(connection) == []
