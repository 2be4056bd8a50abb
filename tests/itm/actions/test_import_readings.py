"""Readings of a bench come in from a file, judged as those that are typed."""

from decimal import Decimal

import pytest
from django.utils import timezone

from itm.actions.hand_in import hand_in
from itm.actions.undo_import import undo_import
from itm.core.errors import Forbidden, Refused
from itm.core.models import Change
from itm.records.bench import set_out
from itm.records.models import Reading
from tests.deeds import discharged, prepared, read, restored, tested
from tests.factories import OrganisationFactory, actor_of
from tests.itm.intake.imports import handed_in, taken, told

ROWS = "bottle;value;Temp. (°C)\nwater;1,33300;20,1\nS1;1,33390;20,1\nS1;1,33391;20,2\n"


@pytest.fixture
def day(scene):
    made = discharged(prepared(scene))
    set_out(actor=made.actor, test=made.test)
    return made


def bring(day, data: str = ROWS, **more):
    return taken(day.actor, "readings", data, test=day.test, **more)


def test_readings_come_in_in_their_order_as_they_were_typed(scene, day):
    row = bring(day)
    readings = list(Reading.objects.filter(bottle__bench=day.test.bench).order_by("sequence"))
    assert [one.bottle.label for one in readings[-3:]] == ["water", "S1", "S1"]
    assert [one.value_typed for one in readings[-3:]] == ["1,33300", "1,33390", "1,33391"]
    assert readings[-1].value == Decimal("1.33391")
    assert readings[-1].temperature_c == Decimal("20.2")
    assert len(row.made) == 3
    noted = Change.objects.filter(model="records.Bench", verb="imported")
    assert noted.get().note == "3 readings from table.csv"


@pytest.mark.parametrize(
    ("line", "place", "code"),
    [
        ("S1;1,333901;20", "B5", "finer_than_display"),
        ("S1;4,2;20", "B5", "too_large"),
        ("S1;1,33390;68", "C5", "fahrenheit"),
        ("S9;1,33390;20", "A5", "unknown_name"),
        ("S1;;20", "B5", "missing"),
        ("S1;0,9;20", "B5", "other_scale"),
    ],
)
def test_the_same_rules_as_on_the_page_tell_what_is_wrong(day, line, place, code):
    row = handed_in(day.actor, "readings", f"{ROWS}{line}\n", test=day.test)
    assert row.state == "open"
    assert (place, code) in told(row)


def test_another_unit_than_the_instrument_reads_is_told(day):
    row = handed_in(
        day.actor, "readings", "bottle;conductivity (µS/cm)\nwater;742\n", test=day.test
    )
    assert ("B2", "other_unit") in told(row)


def test_a_foreign_bench_takes_no_file(scene, day):
    with pytest.raises(Refused):
        handed_in(scene.owner, "readings", ROWS, test=day.test)


def test_readings_need_their_test(scene):
    with pytest.raises(Refused, match="choose it"):
        handed_in(scene.contractor, "readings", ROWS)


def test_undone_readings_are_set_aside_with_the_reason_and_stay(day):
    before = Reading.objects.count()
    row = bring(day)
    undo_import(actor=day.actor, key=row.key, because="wrong bench", at=timezone.now())
    aside = Reading.objects.exclude(set_aside_at=None)
    assert aside.count() == 3
    assert Reading.objects.count() == before + 3
    assert aside[0].set_aside_reason == "import of table.csv taken back: wrong bench"


def test_a_bench_that_was_sealed_takes_none_and_gives_none_back(scene):
    sealed = tested(scene)
    row = handed_in(scene.contractor, "readings", ROWS, test=sealed)
    assert ("A2", "closed") in told(row)


def test_a_whole_import_stays_once_its_test_is_handed_in(scene, day):
    row = bring(day)
    restored(read(day, {"minimum": 3.2, "design": 3.4}))
    hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    with pytest.raises(Refused) as refused:
        undo_import(actor=day.actor, key=row.key, because="late", at=timezone.now())
    assert refused.value.code == "not_draft"


def test_a_stranger_brings_no_readings(scene, day):
    other = actor_of(OrganisationFactory(kind="contractor"))
    with pytest.raises(Forbidden):
        handed_in(other, "readings", ROWS, test=day.test)
