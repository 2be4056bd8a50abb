"""Past concentrate checks come in by file, count for what is due, and are taken back."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from itm.actions.undo_import import undo_import
from itm.core.errors import Forbidden, Refused
from itm.core.models import Change
from itm.doors.files import take_up
from itm.intake.examples import csv_example, xlsx_example
from itm.intake.past_check_layout import PAST_CHECKS
from itm.records import past
from itm.records.models import PastBundle, PastCheckLine
from itm.schedule.models import Duty
from itm.schedule.services import start_duties
from tests.factories import OrganisationFactory, SiteFactory, TankFactory, actor_of
from tests.factories_past import PastCheckLineFactory
from tests.itm.intake.imports import answered, handed_in, taken, told

HEAD = "site;tank;sampled_on;point;property;value;unit;temperature;lower_limit;upper_limit;outcome"
INDEX = "refractive index"


@pytest.fixture
def table(scene):
    """A table of the scene's own tank, one row for each day and what its paper says."""

    def make(*rows: str, head: str = HEAD) -> str:
        here = f"{scene.site.name};{scene.tank.tag}"
        return "\n".join([head, *(f"{here};{row}" for row in rows)]) + "\n"

    return make


def _row(on: str = "2014-06-15", value: str = "1.3702", point: str = "bottom") -> str:
    return f"{on};{point};{INDEX};{value};;20.0;1.3690;1.3720;within limits"


def _open_duty(tank) -> Duty:
    return Duty.objects.get(tank=tank, done_on=None, withdrawn_on=None, cause="periodic")


def test_lines_come_in_as_reported_with_what_was_typed(scene, table):
    text = table(
        _row(), "2014-06-15;bottom;density;1,0320;g/mL;20.0;;;fit", "2014-06-15;;;;;;;;fit for use"
    )
    row = taken(scene.owner, "past_checks", text.replace("1.3", "1,3").replace("20.0", "20,0"))
    assert (row.state, row.rows) == ("done", 3)
    index, density, whole = past.of_tank(scene.owner, scene.tank)
    assert (index.sampled_on, index.point, index.name) == (
        date(2014, 6, 15), "bottom", "refractive_index",
    )  # fmt: skip
    assert (index.value, index.value_typed, index.temperature_c) == (
        Decimal("1.3702"), "1,3702", Decimal(20),
    )  # fmt: skip
    assert (index.lower_limit, index.upper_limit) == (Decimal("1.369"), Decimal("1.372"))
    assert (index.lower_typed, index.upper_typed) == ("1,3690", "1,3720")
    # 1 g/mL is 1000 kg/m³ by definition of the two.
    assert (density.value, density.value_typed) == (Decimal(1032), "1,0320 g/mL")
    assert (whole.name, whole.value, whole.outcome) == ("", None, "fit for use")
    assert whole.point == ""
    assert {one.key.version for one in (index, density, whole)} == {8}


def test_a_column_for_each_property_makes_a_line_of_each(scene, table):
    head = "site;tank;sampled_on;refractive_index;density (kg/m³);ph;temperature;outcome;report"
    taken(
        scene.owner,
        "past_checks",
        table("2014-06-15;1.3702;1032;7.6;20;fit for use;L-44", head=head),
    )
    lines = past.of_tank(scene.owner, scene.tank)
    assert [(one.name, one.value_typed, one.outcome) for one in lines] == [
        ("refractive_index", "1.3702", ""),
        ("density", "1032 kg/m³", ""),
        ("ph", "7.6", ""),
        ("", "", "fit for use"),  # of the report, since the row does not say of which property
    ]
    assert {(one.paper, one.origin, one.row) for one in lines} == {("L-44", "laboratory", 2)}


def test_each_of_many_rows_keeps_its_own_values(scene, table):
    """More than one statement holds, and a rest."""
    rows = [(f"{1990 + n % 30}-{1 + n // 30:02d}-14", f"1.{3600 + n}") for n in range(110)]
    taken(scene.owner, "past_checks", table(*(_row(on, value) for on, value in rows)))
    kept = PastCheckLine.objects.order_by("row")
    assert [(str(one.sampled_on), one.value_typed) for one in kept] == rows
    assert [one.row for one in kept] == list(range(2, 112))
    assert len({one.key for one in kept}) == 110


def test_the_history_notes_one_import_and_not_each_row(scene, table):
    taken(scene.owner, "past_checks", table(_row("2013-06-15"), _row("2014-06-15")))
    assert not Change.objects.filter(model="records.PastCheckLine").exists()
    noted = Change.objects.filter(model="records.PastBundle", verb="imported").get()
    assert noted.note == "2 lines of past concentrate checks from table.csv"


@pytest.mark.parametrize(
    ("old", "new", "code", "place"),
    [
        ("2014-06-15", "2114-06-15", "day_ahead", "C2"),
        ("2014-06-15", "1014-06-15", "too_early", "C2"),
        (";1.3690;1.3720;", ";1.3720;1.3690;", "limits_crossed", "I2"),
        (";1.3690;", ";1.3690 °C;", "other_unit", "I2"),
        (";1.3702;", ";1.9702;", "out_of_range", "F2"),
        (";bottom;", ";in the pump;", "not_a_choice", "D2"),
        (INDEX, "colour", "not_a_choice", "E2"),
        (f"{INDEX};1.3702;;", f"{INDEX};;;", "", ""),  # an outcome alone says enough
        (f"{INDEX};1.3702;;20.0;1.3690;1.3720;within limits", f"{INDEX};;;;;;", "nothing_said",
         "F2"),
        (f"{INDEX};1.3702;;20.0;", ";1.3702;;20.0;", "no_property", "E2"),
        (f"{INDEX};1.3702;;", "density;1.032;;", "no_unit", "F2"),
        (";1.3702;;20.0;1.3690;1.3720;within limits", ";;;;1.3690;1.3720;", "nothing_said", "F2"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_at_its_cell(scene, table, old, new, code, place):
    row = handed_in(scene.owner, "past_checks", table(_row()).replace(old, new, 1))
    if not code:
        assert row.state == "ready"
        return
    assert row.state == "open"
    assert (place, code) in told(row)
    with pytest.raises(Refused, match="Not everything"):
        take_up(actor=scene.owner, row=row, at=timezone.now())
    assert not PastCheckLine.objects.exists()


def test_limits_in_a_row_of_several_properties_are_of_none(scene, table):
    head = "site;tank;sampled_on;refractive_index;ph;lower_limit;temperature"
    row = handed_in(scene.owner, "past_checks", table("2014-06-15;1.3702;7.6;7.0;20", head=head))
    assert told(row) == [("F2", "limits_of_which")]


def test_a_report_of_before_its_sample_is_told(scene, table):
    head = "site;tank;sampled_on;outcome;reported_on"
    row = handed_in(scene.owner, "past_checks", table("2014-06-15;fit;2014-06-01", head=head))
    assert told(row) == [("E2", "report_before_sample")]


def test_index_without_temperature_is_taken_and_told(scene, table):
    row = handed_in(scene.owner, "past_checks", table(_row().replace(";20.0;", ";;")))
    assert row.state == "ready"
    assert row.findings["asked"][0]["place"] == "F2"
    once = answered(scene.owner, row)  # nothing more to say
    assert once.state == "ready"


def test_a_tank_that_stood_before_is_found_by_the_day(scene, table):
    before = TankFactory(
        site=scene.site, tag=scene.tank.tag, installed_on=date(1995, 1, 1),
        retired_on=date(2015, 1, 1),
    )  # fmt: skip
    scene.tank.installed_on = date(2015, 1, 2)
    scene.tank.save(by=scene.owner)
    taken(scene.owner, "past_checks", table(_row("2014-06-15"), _row("2016-06-15")))
    assert [one.sampled_on.year for one in past.of_tank(scene.owner, before)] == [2014]
    assert [one.sampled_on.year for one in past.of_tank(scene.owner, scene.tank)] == [2016]
    row = handed_in(scene.owner, "past_checks", table(_row("1994-06-15")))
    assert told(row) == [("C2", "before_installed")]


def test_two_tanks_that_the_day_does_not_tell_are_told(scene, table):
    TankFactory(site=scene.site, tag=scene.tank.tag, retired_on=date(2026, 1, 1))
    row = handed_in(scene.owner, "past_checks", table(_row("2014-06-15")))
    assert told(row) == [("B2", "ambiguous_tank")]


def test_lines_are_never_changed_in_the_database(scene, table):
    taken(scene.owner, "past_checks", table(_row()))
    for sql in ("UPDATE records_pastcheckline SET value = 4", "DELETE FROM records_pastcheckline"):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            connection.cursor().execute(sql)


@pytest.mark.parametrize("wrong", [{"value": None}, {"name": ""}])
def test_the_database_takes_no_line_that_says_nothing(scene, wrong):
    with pytest.raises(IntegrityError, match="past_check_says_something"), transaction.atomic():
        PastCheckLineFactory(tank=scene.tank, **wrong)


def test_all_see_them_and_strangers_neither_see_nor_name_them(scene, table):
    taken(scene.contractor, "past_checks", table(_row()))
    for actor in (scene.owner, scene.contractor, scene.authority):
        assert past.check_lines(actor).count() == 1
    for kind in ("owner", "contractor", "authority"):
        assert not past.check_lines(actor_of(OrganisationFactory(kind=kind))).exists()
    stranger = actor_of(OrganisationFactory(kind="owner"))
    TankFactory(site=SiteFactory(owner=stranger.organisation))
    row = handed_in(stranger, "past_checks", table(_row()))
    assert ("A2", "unknown_name") in told(row)
    with pytest.raises(Forbidden):
        handed_in(scene.authority, "past_checks", table(_row()))


def test_the_same_line_and_another_figure_for_it_are_told(scene, table):
    taken(scene.owner, "past_checks", table(_row()))
    same = handed_in(scene.contractor, "past_checks", table(_row(), _row("2015-06-15")))
    assert told(same) == [("F2", "already_there")]
    other = handed_in(scene.contractor, "past_checks", table(_row(value="1.3650")))
    assert told(other) == [("F2", "other_figure")]
    assert "1.3702 stands here already" in other.findings["problems"][0]["sentence"]


def test_one_property_twice_on_one_day_is_told_with_both_rows(scene, table):
    row = handed_in(scene.owner, "past_checks", table(_row(), _row(value="1.3703")))
    assert told(row) == [("C3", "twice")]
    assert "Row 2" in row.findings["problems"][0]["sentence"]
    top = handed_in(scene.owner, "past_checks", table(_row(), _row(point="top")), name="b.csv")
    assert top.state == "ready"


def test_the_same_content_written_otherwise_is_recognised(scene, table):
    first = taken(scene.owner, "past_checks", table(_row()))
    again = handed_in(scene.owner, "past_checks", table(_row()), name="copy.csv")
    assert again.key == first.key
    other = handed_in(scene.owner, "past_checks", table(_row("15.06.2014")), name="other.csv")
    assert other.findings["twin"]["name"] == "table.csv"


def test_what_is_due_counts_from_the_newest_sample(scene, table):
    start_duties(actor=scene.owner, tank=scene.tank)
    taken(scene.owner, "past_checks", table(_row("2024-05-14"), _row("2025-05-12")))
    assert _open_duty(scene.tank).counts_from == date(2025, 5, 12)


def test_taken_back_lines_count_no_more_and_stay(scene, table):
    start_duties(actor=scene.owner, tank=scene.tank)
    row = taken(scene.owner, "past_checks", table(_row("2025-05-12")))
    undone = undo_import(actor=scene.owner, key=row.key, because="wrong folder", at=timezone.now())
    assert undone.state == "undone"
    assert not past.check_lines(scene.owner).exists()
    assert PastCheckLine.objects.count() == 1
    assert PastBundle.objects.get().withdrawn_because == "wrong folder"
    assert _open_duty(scene.tank).counts_from == scene.system.commissioned_on
    assert taken(scene.owner, "past_checks", table(_row("2025-05-12"))).key != row.key


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_the_example_is_read_without_a_question(scene, form):
    """Its own names are ours, so nothing is asked but what only the register can answer."""
    data = csv_example(PAST_CHECKS) if form == "csv" else xlsx_example(PAST_CHECKS)
    scene.site.name = "Quay 9"
    scene.site.save(by=scene.owner)
    scene.tank.tag = "T-1"
    scene.tank.save(by=scene.owner)
    row = taken(scene.owner, "past_checks", data, name=f"example.{form}")
    assert row.rows == 4
    assert past.check_lines(scene.owner).count() == 4
