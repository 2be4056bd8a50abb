"""Results of past years come in, count for what is due, and are taken back."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from itm.actions.undo_import import undo_import
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.models import Change
from itm.doors.files import take_up
from itm.records import past
from itm.records.models import PastBundle, PastResult
from itm.schedule.models import Duty
from tests.factories import (
    OrganisationFactory,
    PastResultFactory,
    ProportionerFactory,
    SiteFactory,
    actor_of,
)
from tests.itm.intake.imports import answered, handed_in, taken, told

HEAD = "site;proportioner;flow_point;tested_on;percent;lower_limit;upper_limit;method;paper"


@pytest.fixture
def table(scene):
    """A table of the scene's own device, one row for each pair of year and percent."""

    def make(*rows: tuple[str, str], point: str = "design", more: str = "") -> str:
        lines = [
            f"{scene.site.name};{scene.proportioner.tag};{point};{when};{percent};3;3.9;index;f 12"
            for when, percent in rows
        ]
        return "\n".join([HEAD, *lines]) + "\n" + more

    return make


def test_results_come_in_as_reported_with_what_was_typed(scene, table):
    text = table(("2012-05-14", "3,12 %"), ("2013-05-10", "3,3 %")).replace(";3.9;", ";3,9;")
    row = taken(scene.owner, "history", text)
    assert (row.state, row.rows) == ("done", 2)
    first, second = past.of_proportioner(scene.owner, scene.proportioner)
    assert (first.tested_on, first.percent) == (date(2012, 5, 14), Decimal("3.12"))
    assert first.percent_typed == "3,12 %"
    assert (first.lower_limit, first.upper_limit) == (Decimal(3), Decimal("3.9"))
    assert (first.method, first.phase, first.purpose) == (
        "refractive_index", "as_found", "periodic",
    )  # fmt: skip
    assert (first.flow_point, first.paper, first.row) == ("design", "f 12", 2)
    assert len({first.key, second.key}) == 2
    assert {first.key.version, second.key.version} == {8}


def test_each_of_many_rows_keeps_its_own_values(scene, table):
    """More than one statement holds, and a rest; some columns the same in all rows, some not."""
    rows = [(f"{1990 + n % 30}-{1 + n // 30:02d}-14", f"{3 + n / 1000:.3f}") for n in range(110)]
    taken(scene.owner, "history", table(*rows))
    kept = PastResult.objects.order_by("row")
    assert [(str(one.tested_on), one.percent_typed) for one in kept] == rows
    assert [one.row for one in kept] == list(range(2, 112))
    assert {(one.paper, one.flow_point, one.method) for one in kept} == {
        ("f 12", "design", "refractive_index")
    }
    assert len({one.key for one in kept}) == 110


def test_the_history_notes_one_import_and_not_each_row(scene, table):
    rows = [(f"20{year:02d}-05-14", "3.1") for year in range(1, 19)]
    taken(scene.owner, "history", table(*rows))
    assert not Change.objects.filter(model="records.PastResult").exists()
    noted = Change.objects.filter(model="records.PastBundle", verb="imported")
    assert noted.get().note == "18 results of past years from table.csv"


@pytest.mark.parametrize(
    ("when", "flow", "place", "code"),
    [
        ("2012-05-14", "-850 L/min", "J2", "no_flow"),
        ("2012-05-14", "0 L/min", "J2", "no_flow"),
        ("1024-05-14", "850 L/min", "D2", "too_early"),
    ],
)
def test_a_flow_or_day_that_cannot_have_been_is_told(scene, table, when, flow, place, code):
    head, line = table((when, "3.1")).splitlines()
    row = handed_in(scene.owner, "history", f"{head};flow\n{line};{flow}\n")
    assert told(row) == [(place, code)]


def test_the_database_takes_no_flow_of_zero(scene):
    with pytest.raises(IntegrityError, match="past_flow_above_zero"), transaction.atomic():
        PastResultFactory(proportioner=scene.proportioner, flow=0.0)


def test_results_are_never_changed_in_the_database(scene, table):
    taken(scene.owner, "history", table(("2012-05-14", "3.1")))
    for sql in ("UPDATE records_pastresult SET percent = 4", "DELETE FROM records_pastresult"):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            connection.cursor().execute(sql)


def test_all_see_them_and_strangers_do_not(scene, table):
    taken(scene.contractor, "history", table(("2012-05-14", "3.1")))
    for actor in (scene.owner, scene.contractor, scene.authority):
        assert past.results(actor).count() == 1
    for kind in ("owner", "contractor", "authority"):
        assert not past.results(actor_of(OrganisationFactory(kind=kind))).exists()


def test_an_authority_brings_in_nothing(scene, table):
    with pytest.raises(Forbidden):
        handed_in(scene.authority, "history", table(("2012-05-14", "3.1")))


def test_devices_of_others_are_unknown(scene, table):
    stranger = actor_of(OrganisationFactory(kind="owner"))
    ProportionerFactory(system__site=SiteFactory(owner=stranger.organisation))
    row = handed_in(stranger, "history", table(("2012-05-14", "3.1")))
    assert row.state == "open"
    assert ("A2", "unknown_name") in told(row)
    assert scene.site.name not in str(row.findings["problems"][0]["fix"])


@pytest.mark.parametrize(
    ("old", "new", "code", "place"),
    [
        ("design", "half load", "unknown_name", "C2"),
        ("2012-05-14", "2112-05-14", "day_ahead", "D2"),
        (";3;3.9;", ";3.9;3;", "limits_crossed", "F2"),
        ("3.1;", "310;", "too_large", "E2"),
        (";index;", ";by eye;", "not_a_choice", "H2"),
    ],
)
def test_what_is_wrong_is_told_at_its_cell(scene, table, old, new, code, place):
    row = handed_in(scene.owner, "history", table(("2012-05-14", "3.1")).replace(old, new, 1))
    assert row.state == "open"
    assert (place, code) in told(row)
    with pytest.raises(Refused, match="Not everything"):
        take_up(actor=scene.owner, row=row, at=timezone.now())
    assert not PastResult.objects.exists()


def test_one_flow_point_twice_on_one_day_is_told_with_both_rows(scene, table):
    row = handed_in(scene.owner, "history", table(("2012-05-14", "3.1"), ("2012-05-14", "3.2")))
    assert told(row) == [("D3", "twice")]
    assert "Row 2" in row.findings["problems"][0]["sentence"]


def test_the_same_file_again_is_the_same_import(scene, table):
    text = table(("2012-05-14", "3.1"))
    first = taken(scene.owner, "history", text)
    again = handed_in(scene.owner, "history", text, name="copy of table.csv")
    assert again.key == first.key
    assert PastResult.objects.count() == 1


def test_the_same_content_written_otherwise_is_recognised(scene, table):
    taken(scene.owner, "history", table(("2012-05-14", "3.1")))
    other = table(("14.05.2012", "3,10 %")).replace(";3;3.9;", ";3,0;3,90;")
    row = handed_in(scene.owner, "history", other, name="other.csv")
    assert row.state == "open"
    assert row.findings["twin"]["name"] == "table.csv"
    assert ("E2", "already_there") in told(row)


def test_another_figure_for_the_same_test_is_told(scene, table):
    taken(scene.owner, "history", table(("2012-05-14", "3.1")))
    row = handed_in(scene.contractor, "history", table(("2012-05-14", "3.4")))
    assert told(row) == [("E2", "other_figure")]
    assert "3.1 % stands here already" in row.findings["problems"][0]["sentence"]


def test_two_devices_of_one_tag_are_asked_about(scene, table):
    ProportionerFactory(system__site=scene.site, tag=scene.proportioner.tag)
    row = handed_in(scene.owner, "history", table(("2012-05-14", "3.1")))
    assert [code for _, code in told(row)] == ["ambiguous_device"]


def test_a_mistyped_tag_is_offered_and_the_answer_holds_for_the_file(scene, table):
    wrong = table(("2012-05-14", "3.1")).replace(
        scene.proportioner.tag, f"{scene.proportioner.tag}X"
    )
    row = handed_in(scene.owner, "history", wrong)
    code = f"means:proportioner:{scene.proportioner.tag}X"
    [question] = [one for one in row.findings["questions"] if one["code"] == code]
    assert question["choices"][0][0] == scene.proportioner.tag
    assert answered(scene.owner, row, **{code: scene.proportioner.tag}).state == "ready"


def test_what_is_due_counts_from_the_newest_paper(scene, table):
    """The one rule: commissioning, the day on the register or the newest paper, the latest wins."""
    taken(scene.owner, "history", table(("2024-05-14", "3.1"), ("2025-05-12", "3.2")))
    duty = Duty.objects.get(proportioner=scene.proportioner, done_on=None, withdrawn_on=None)
    assert duty.counts_from == date(2025, 5, 12)


def test_taken_back_results_count_no_more_and_stay(scene, table):
    row = taken(scene.owner, "history", table(("2025-05-12", "3.2")))
    undone = undo_import(actor=scene.owner, key=row.key, because="wrong folder", at=timezone.now())
    assert undone.state == "undone"
    assert not past.results(scene.owner).exists()
    assert PastResult.objects.count() == 1
    assert PastBundle.objects.get().withdrawn_because == "wrong folder"
    duty = Duty.objects.get(proportioner=scene.proportioner, done_on=None, withdrawn_on=None)
    assert duty.counts_from == scene.system.commissioned_on
    again = taken(scene.owner, "history", table(("2025-05-12", "3.2")))
    assert again.state == "done"
    assert again.key != row.key


def test_taking_back_needs_a_reason_and_its_own_organisation(scene, table):
    row = taken(scene.owner, "history", table(("2025-05-12", "3.2")))
    with pytest.raises(Refused, match="Say why"):
        undo_import(actor=scene.owner, key=row.key, because=" ", at=timezone.now())
    with pytest.raises(NotFound):
        undo_import(actor=scene.contractor, key=row.key, because="x", at=timezone.now())


def test_one_result_is_withdrawn_by_who_brought_it_or_the_owner(scene, table):
    taken(scene.contractor, "history", table(("2025-05-12", "3.2")))
    result = past.results(scene.authority).get()
    for actor in (scene.authority, actor_of(OrganisationFactory(kind="owner"))):
        with pytest.raises(Forbidden):
            past.withdraw(actor=actor, line=result, reason="x", at=timezone.now())
    with pytest.raises(Refused, match="Say why"):
        past.withdraw(actor=scene.owner, line=result, reason="", at=timezone.now())
    past.withdraw(actor=scene.owner, line=result, reason="another device", at=timezone.now())
    assert not past.results(scene.contractor).exists()


def test_what_became_wrong_since_the_look_takes_in_nothing(scene, table):
    row = handed_in(scene.owner, "history", table(("2012-05-14", "3.1"), ("2013-05-14", "3.1")))
    taken(scene.contractor, "history", table(("2013-05-14", "3.4")))
    with pytest.raises(Refused) as refused:
        take_up(actor=scene.owner, row=row, at=timezone.now())
    assert refused.value.code == "changed"
    assert past.results(scene.owner).count() == 1
