"""Which record of a proportioner is kept as its latest, and that what is kept can be told wrong."""

from datetime import date
from importlib import import_module
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from itm.records.models import LatestRecord
from tests.itm.trends.kept import kept

noting = import_module("itm.records.migrations.0010_which_records_are_the_latest")
DAY = date(2026, 5, 1)


def latest() -> list[tuple[int, date, int | None]]:
    return list(LatestRecord.objects.values_list("test", "tested_on", "rank"))


def told(*options: str) -> str:
    out = StringIO()
    call_command("verify_standing", *options, stdout=out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("limits", "certainty", "rank"),
    [
        ("in band", "settled", None),
        ("in band", "undecided", 3),
        ("rich", "settled", 2),
        ("lean", "undecided", 1),
    ],
)
def test_the_latest_says_what_it_leaves_to_do(scene, limits, certainty, rank):
    kept(scene, on=date(2025, 5, 1), limits="lean")
    test = kept(scene, on=DAY, limits=limits, certainty=certainty)
    kept(scene, on=date(2024, 5, 1), limits="rich")  # came in later, was done before
    assert latest() == [(test.pk, DAY, rank)]


def test_as_left_comes_after_as_found_of_the_same_day(scene):
    found = kept(scene, on=DAY, limits="lean")
    left = kept(scene, on=DAY, phase="as_left", adjusted="orifice", visit=found.visit)
    assert latest() == [(left.pk, DAY, None)]


def test_what_is_not_sealed_is_no_latest_record(scene):
    kept(scene, on=DAY, limits="lean", state="handed_in")
    assert latest() == []


def test_what_is_kept_is_compared_with_the_records_and_mended(scene):
    test = kept(scene, on=DAY, limits="lean")
    row = LatestRecord.objects.get()
    row.delete()
    with pytest.raises(SystemExit):
        told()
    assert f"{scene.proportioner}: latest is the record of 2026-05-01" in told("--mend")
    assert latest() == [(test.pk, DAY, 1)]
    assert " 0 differ" in told()
    row = LatestRecord.objects.get()
    row.rank = None
    row.save()
    with pytest.raises(SystemExit):
        told()


def test_an_older_installation_gets_the_same_from_its_records(scene):
    kept(scene, on=date(2025, 5, 1), limits="rich")
    kept(scene, on=DAY, certainty="undecided")
    before = latest()
    LatestRecord.objects.get().delete()
    assert latest() == []
    then = MigrationLoader(connection).project_state(("records", noting.__name__.split(".")[-1]))
    noting.note(then.apps, None)
    assert latest() == before
