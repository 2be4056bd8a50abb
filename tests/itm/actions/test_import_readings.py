"""Readings of a bench come in from a file, judged as those that are typed."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from itm.actions.hand_in import hand_in
from itm.actions.undo_import import undo_import
from itm.core.clock import date_at
from itm.core.errors import Forbidden, Refused
from itm.core.models import Change
from itm.doors.files import take_up
from itm.records.bench import set_out
from itm.records.models import Reading
from itm.records.pouring import set_volumes
from tests.deeds import discharged, prepared, read, restored, tested
from tests.factories import OrganisationFactory, actor_of
from tests.itm.intake.imports import handed_in, taken, told
from tests.itm.intake.tables.files import workbook

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
        ("S1;4,2;20", "B5", "other_scale"),
        ("S1;13339;20", "B5", "decimal_point"),
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


def test_brix_at_the_bench_of_an_index_is_named_as_on_the_page(day):
    row = handed_in(day.actor, "readings", f"{ROWS}S1;4,2;20\n", test=day.test)
    assert "looks like a Brix reading" in row.findings["problems"][0]["sentence"]


WIDE = (
    "No.;Time;Temp. (°C);water;S1;S1 °C;S2 (nD)\n"
    "1;14:05;20,1;1,33300;1,33390;20,4;1,33421\n"
    "2;14:20;20,2;1,33301;;;1,33420\n"
)


def test_bottles_as_heads_give_the_readings_of_a_row_each(scene, day, time_machine):
    """The same readings as one row each, by another hand: row by row, an empty cell is none."""
    time_machine.move_to(datetime.combine(day.test.tested_on, time(20), UTC), tick=False)
    bring(day, WIDE)
    rows = list(Reading.objects.filter(bottle__bench=day.test.bench).order_by("sequence"))
    assert [(one.bottle.label, one.value_typed, one.temperature_typed) for one in rows] == [
        ("water", "1,33300", "20,1"), ("S1", "1,33390", "20,4"), ("S2", "1,33421", "20,1"),
        ("water", "1,33301", "20,2"), ("S2", "1,33420", "20,2"),
    ]  # fmt: skip
    zone = ZoneInfo(day.test.visit.site.time_zone)
    assert [f"{one.read_at.astimezone(zone):%H:%M}" for one in rows] == ["14:05"] * 3 + [
        "14:20"
    ] * 2


@pytest.mark.parametrize(
    ("line", "place", "code"),
    [
        ("3;14:30;20;1,333001;;;", "D4", "finer_than_display"),
        ("3;14:30;20;;0,9;;", "E4", "other_scale"),
        ("3;14:30;20;;1,33390;68;", "F4", "fahrenheit"),
        ("3;14:30;68;1,33300;;;", "C4", "fahrenheit"),
        ("Mean;;20;1,33301;1,33390;20,4;1,33421", "A4", "worked_out"),
        ("3;14:30;20;;about 1;;", "E4", "not_a_number"),
    ],
)
def test_what_is_wrong_under_a_bottle_is_told_at_its_cell(day, line, place, code):
    row = handed_in(day.actor, "readings", f"{WIDE}{line}\n", test=day.test)
    assert row.state == "open"
    assert (place, code) in told(row), row.findings


@pytest.mark.parametrize(
    ("line", "place", "code"),
    [
        ("S1;1,33390;20,1;14:05;;14:06", "F2", "reason_missing"),
        ("S1;1,33390;20,1;14:05;bubble;14:04", "F2", "aside_early"),
    ],
)
def test_a_reading_that_was_set_aside_says_why_and_after_it_was_read(day, line, place, code):
    head = "bottle;value;temperature;read_at;set_aside;set_aside_at"
    row = handed_in(day.actor, "readings", f"{head}\n{line}\n", test=day.test)
    assert (place, code) in told(row)


def test_of_several_bottles_in_one_row_none_is_set_aside(day):
    text = WIDE.replace("No.;", "No.;set aside;").replace("1;14:05", "1;bubble;14:05")
    text = text.replace("2;14:20", "2;;14:20")
    row = handed_in(day.actor, "readings", text, test=day.test)
    assert told(row) == [("B2", "aside_across")]


def test_bottles_down_a_column_are_no_heads(day):
    """Of a table whose heads nobody knows it is asked which column is which, as before."""
    row = handed_in(day.actor, "readings", "Flasche;Wert\nwater;1,33300\nS1;1,33390\n",
                    test=day.test)  # fmt: skip
    assert row.findings["names"] == ["Flasche", "Wert"]
    assert row.findings["missing"] == ["Bottle", "Reading"]


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


# When each was read -------------------------------------------------------------------------------


def timed(*rows: str, head: str = "bottle;value;temperature;read_at") -> str:
    return "\n".join([head, *rows]) + "\n"


def read_ats(day) -> list[str]:
    zone = ZoneInfo(day.test.visit.site.time_zone)
    rows = Reading.objects.filter(bottle__bench=day.test.bench).order_by("sequence")
    return [f"{one.read_at.astimezone(zone):%Y-%m-%d %H:%M:%S}" for one in rows]


def test_times_are_kept_on_the_clock_of_the_site_and_the_row_above_lends_its_own(scene, day):
    on = date_at(day.test.visit.site.time_zone, day.test.visit.started_at)
    row = taken(day.actor, "readings", timed(
        f"water;1.33300;20;{on:%d.%m.%Y} 14:05", "water;1.33301;20;", "S1;1.33390;20;14:07:30",
        "S2;1.33420;20;2:09 PM", f"S3;1.33450;20;{on}T14:11:00",
    ), test=day.test)  # fmt: skip
    assert row.findings["asked"] == []
    assert read_ats(day) == [
        f"{on} 14:05:00", f"{on} 14:05:00", f"{on} 14:07:30", f"{on} 14:09:00", f"{on} 14:11:00",
    ]  # fmt: skip


def test_cells_of_a_workbook_keep_their_seconds(scene, day, tmp_path):
    on = date_at(day.test.visit.site.time_zone, day.test.visit.started_at)
    rows = [
        ["bottle", "value", "temperature", "time"],
        ["water", 1.333, 20, datetime.combine(on, time(14, 5, 20))],
        ["S1", 1.3339, 20, time(14, 7, 40)],
    ]
    taken(day.actor, "readings", workbook(tmp_path, rows).read_bytes(), name="a.xlsx",
          test=day.test)  # fmt: skip
    assert read_ats(day) == [f"{on} 14:05:20", f"{on} 14:07:40"]


def test_order_of_a_day_is_asked_here_as_for_every_date(day):
    row = handed_in(day.actor, "readings", timed("water;1.33300;20;03/04/2026 14:05"),
                    test=day.test)  # fmt: skip
    assert [one["code"] for one in row.findings["questions"] if not one["found"]] == ["order"]


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("2026-04-03", "no_time"),
        ("noon", "not_a_time"),
        ("25:10", "not_a_time"),
        ("2026-03-29 01:30", "no_such_time"),  # Lisbon puts its clocks forward at 01:00 UTC
        ("2026-10-25 01:30", "time_twice"),  # and back again: tz database, Europe/Lisbon
    ],
)
def test_what_is_no_time_on_the_clock_of_the_site_is_told(day, cell, code):
    day.test.visit.site.time_zone = "Europe/Lisbon"
    day.test.visit.site.save(by=day.actor)
    row = handed_in(day.actor, "readings", timed(f"water;1.33300;20;{cell}"), test=day.test)
    assert told(row) == [("D2", code)]


def test_a_time_that_has_not_come_is_told(day):
    actor = replace(day.actor, at=day.test.visit.started_at)
    later = day.test.visit.started_at + timedelta(hours=2)
    row = handed_in(actor, "readings", timed(f"water;1.33300;20;{later.isoformat()}"),
                    test=day.test)  # fmt: skip
    assert told(row) == [("D2", "not_yet")]


def test_another_day_than_the_test_day_is_asked_about_and_taken(day):
    row = handed_in(day.actor, "readings", timed("water;1.33300;20;2026-01-05 09:00"),
                    test=day.test)  # fmt: skip
    assert row.state == "ready"
    [asked] = row.findings["asked"]
    assert asked["place"] == "D2"
    assert "5 Jan 2026" in asked["sentence"]


def test_a_reading_before_its_sample_was_caught_is_asked_about(day):
    bottle = day.test.runs.first().bottles.get(label="minimum 1")
    early = (bottle.taken_at - timedelta(hours=3)).isoformat()
    row = handed_in(day.actor, "readings", timed(f"minimum 1;1.33420;20;{early}"), test=day.test)
    assert row.state == "ready"
    asked = [one for one in row.findings["asked"] if "was caught at" in one["sentence"]]
    assert [one["place"] for one in asked] == ["B2"]


# What is odd (pitfall 52: digits swapped on the way from the display to the paper) ----------------


def poured(day):
    """The standards as their recipe says, so that their percents are known."""
    whole = day.test.bench.batch_volume_ml
    for bottle in day.test.bench.bottles.filter(role="standard"):
        concentrate = whole * bottle.target_percent / 100
        set_volumes(actor=day.actor, bottle=bottle, concentrate_ml_typed=f"{concentrate:.1f}",
                    water_ml_typed=f"{whole - concentrate:.1f}")  # fmt: skip
    return day


def test_a_swap_that_would_lie_on_the_line_is_suggested_and_never_made(day):
    """Invented liquid of 0.0003 a percent: at 2, 3 and 4 % it reads 1.33360, 1.33390, 1.33420."""
    row = handed_in(poured(day).actor, "readings", timed(
        "water;1.33300;20;", "S1;1.33360;20;", "S2;1.33309;20;", "S3;1.33420;20;",
    ), test=day.test)  # fmt: skip
    assert row.state == "ready"
    [asked] = row.findings["asked"]
    assert asked["place"] == "B4"
    assert "Did the display show 1.33390?" in asked["sentence"]
    take_up(actor=day.actor, row=row, at=timezone.now())
    kept = Reading.objects.filter(bottle__label="S2", bottle__bench=day.test.bench)
    assert [one.value_typed for one in kept] == ["1.33309"]


def test_readings_of_the_bench_are_looked_at_beside_those_of_the_file(day):
    bring(day, timed("S1;1.33390;20;"))
    row = handed_in(day.actor, "readings", timed("S1;1.33930;20;"), test=day.test)
    [asked] = row.findings["asked"]
    assert "Did the display show 1.33390?" in asked["sentence"]
