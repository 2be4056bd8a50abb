"""Past inspections come in by file: marked as brought in, counted for what is due, taken back."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.actions.undo_import import undo_import
from itm.intake.examples import csv_example
from itm.intake.past_inspection_layout import PAST_INSPECTIONS
from itm.records import past
from itm.records.models import Inspection, PastInspection
from itm.schedule.models import Duty
from tests.factories import EquipmentFactory, OrganisationFactory, TankFactory, actor_of
from tests.factories_past import PastInspectionFactory
from tests.itm.intake.imports import handed_in, taken, told
from tests.itm.schedule.test_deriving import adopt, duties, row, run

HEAD = "site;thing;kind;done on;task;counts_for;outcome;remarks;inspector"
ADOPTED = date(2026, 1, 1)
ASKED = "N25-04"  # a look at every proportioner once a month


@pytest.fixture
def table(scene):
    def make(*rows: str, thing: str = "", head: str = HEAD) -> str:
        here = f"{scene.site.name};{thing or scene.proportioner.tag}"
        return "\n".join([head, *(f"{here};{one}" for one in rows)]) + "\n"

    return make


@pytest.fixture
def asked(scene) -> Duty:
    """A task of a programme that was adopted for the site."""
    adopt(scene, ASKED)
    run(scene)
    [duty] = duties(ASKED)
    assert duty.counts_from == ADOPTED
    return duty


def test_lines_come_in_as_reported_and_are_no_inspections_of_ours(scene, table):
    text = table("proportioner;2019-03-04;weekly round;;OK;nothing new;I. Nvented")
    assert taken(scene.owner, "past_inspections", text).rows == 1
    [line] = past.inspections(scene.owner)
    assert (line.proportioner, line.task, line.done_on) == (
        scene.proportioner, "weekly round", date(2019, 3, 4),
    )  # fmt: skip
    assert (line.outcome, line.outcome_typed, line.words, line.done_by) == (
        "in_order", "OK", "nothing new", "I. Nvented",
    )  # fmt: skip
    assert line.requirement is None
    assert line.bundle.noted_by == scene.owner.person
    assert not Inspection.objects.exists()


def test_a_task_without_a_row_of_a_programme_is_told_and_moves_nothing(scene, table, asked):
    text = table("proportioner;2026-02-10;weekly round;;ok;;I. Nvented")
    row_ = handed_in(scene.owner, "past_inspections", text)
    assert row_.state == "ready"
    assert row_.findings["asked"][0]["place"] == "E2"
    taken(scene.owner, "past_inspections", text)
    asked.refresh_from_db()
    assert (asked.counts_from, asked.withdrawn_on) == (ADOPTED, None)


@pytest.mark.parametrize("column", ["task", "counts_for"])
def test_what_is_due_counts_on_from_the_newest_of_its_task(scene, table, asked, column):
    words = asked.requirement.words
    cells = f"{words};" if column == "task" else f"round of the works;{words}"
    text = table(*(f"proportioner;{on};{cells};ok;;I. N." for on in ("2025-11-03", "2026-02-10")))
    taken(scene.owner, "past_inspections", text)
    [duty] = duties(ASKED, done_on=None)
    assert duty.counts_from == date(2026, 2, 10)
    assert past.inspections(scene.owner).first().requirement == row(ASKED)


def test_what_was_not_possible_counts_for_nothing(scene, table, asked):
    text = table(f"proportioner;2026-02-10;{asked.requirement.words};;not possible;locked;I. N.")
    taken(scene.owner, "past_inspections", text)
    [duty] = duties(ASKED, done_on=None)
    assert duty.counts_from == ADOPTED


def test_taken_back_they_count_no_more_and_stay(scene, table, asked):
    text = table(f"proportioner;2026-02-10;{asked.requirement.words};;ok;;I. N.")
    came = taken(scene.owner, "past_inspections", text)
    undo_import(actor=scene.owner, key=came.key, because="another site", at=timezone.now())
    [duty] = duties(ASKED, done_on=None)
    assert duty.counts_from == ADOPTED
    assert not past.inspections(scene.owner).exists()
    assert PastInspection.objects.count() == 1


def test_a_test_or_check_is_no_inspection(scene, table):
    run(scene)
    words = Duty.objects.get(tank=scene.tank).requirement.words
    text = table(f"tank;2025-02-10;{words};;ok;;I. N.", thing=scene.tank.tag)
    [(place, code)] = told(handed_in(scene.owner, "past_inspections", text))
    assert (place, code) == ("E2", "other_table")


@pytest.mark.parametrize(
    ("old", "new", "place", "code"),
    [
        ("2019-03-04", "2119-03-04", "D2", "day_ahead"),
        ("2019-03-04", "1019-03-04", "D2", "too_early"),
        ("proportioner;", "tank;", "C2", "other_kind"),
        ("weekly round;;", "weekly round;watching;", "F2", "not_asked"),
        (";ok;", ";so so;", "G2", "not_a_choice"),
        ("weekly round", "", "E2", "missing"),
    ],
)
def test_what_is_wrong_is_told_at_its_cell(scene, table, asked, old, new, place, code):
    text = table("proportioner;2019-03-04;weekly round;;ok;;I. N.").replace(old, new, 1)
    came = handed_in(scene.owner, "past_inspections", text)
    assert (place, code) in told(came)
    if code == "not_asked":
        assert asked.requirement.words.casefold() in came.findings["problems"][0]["fix"]


def test_things_of_one_tag_are_told_apart_by_kind_and_day(scene, table):
    tag = scene.proportioner.tag
    TankFactory(site=scene.site, tag=tag, installed_on=date(2015, 1, 1))
    line = ";2019-03-04;weekly round;;ok;;I. N."
    assert told(handed_in(scene.owner, "past_inspections", table(line))) == [
        ("B2", "ambiguous_thing")
    ]
    early = table("tank;2014-03-04;weekly round;;ok;;I. N.")
    assert told(handed_in(scene.owner, "past_inspections", early)) == [("D2", "before_installed")]
    taken(scene.owner, "past_inspections", table(f"tank{line}"), name="said.csv")
    assert past.inspections(scene.owner).get().tank.tag == tag


def test_equipment_system_and_the_whole_site_are_named_by_what_the_row_holds(scene):
    valve = EquipmentFactory(site=scene.site, system=scene.system, tag="V-77")
    text = (
        "site;system;thing;done_on;task\n"
        f"{scene.site.name};{scene.system.name};V-77;2019-03-04;turn it\n"
        f"{scene.site.name};{scene.system.name};;2019-03-04;walk along\n"
        f"{scene.site.name};;;2019-03-04;survey\n"
    )
    taken(scene.owner, "past_inspections", text)
    found = {one.task: one.thing for one in past.inspections(scene.owner)}
    assert found == {"turn it": valve, "walk along": scene.system, "survey": scene.site}


def test_the_same_and_another_outcome_of_it_are_told(scene, table):
    line = "proportioner;2019-03-04;weekly round;;ok;;I. N."
    taken(scene.owner, "past_inspections", table(line))
    again = handed_in(scene.contractor, "past_inspections", table(line))
    assert told(again) == [("D2", "already_there")]
    other = handed_in(
        scene.contractor, "past_inspections", table(line.replace("ok", "failed"), line)
    )
    assert ("D2", "other_outcome") in told(other)
    assert ("D3", "twice") in told(other)


def test_strangers_neither_see_nor_name_them_and_the_database_keeps_them(scene, table):
    taken(scene.contractor, "past_inspections", table("proportioner;2019-03-04;round;;ok;;"))
    for actor in (scene.owner, scene.contractor, scene.authority):
        assert past.inspections(actor).count() == 1
    stranger = actor_of(OrganisationFactory(kind="owner"))
    assert not past.inspections(stranger).exists()
    came = handed_in(stranger, "past_inspections", table("proportioner;2019-03-04;round;;ok;;"))
    assert ("A2", "unknown_name") in told(came)
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        connection.cursor().execute("UPDATE records_pastinspection SET task = 'x'")


def test_the_example_is_read_without_a_question(scene):
    scene.site.name, scene.system.name, scene.tank.tag = "Quay 9", "Truck rack deluge", "T-1"
    for one in (scene.site, scene.system, scene.tank):
        one.save(by=scene.owner)
    assert taken(scene.owner, "past_inspections", csv_example(PAST_INSPECTIONS)).rows == 2


def test_list_and_page_say_who_brought_it_in_and_when(scene, sign_in):
    line = PastInspectionFactory(tank=scene.tank)
    client = sign_in(Client(), scene.authority)
    listed = client.get(f"{reverse('past_inspections')}?site={scene.site.key}").content.decode()
    assert "6 May 2026, Somebody" in listed
    page = client.get(reverse("past_inspection", args=[line.key])).content.decode()
    assert "Nobody entered it here on the day" in page
    assert "6 May 2026" in page
    assert "Withdraw" not in page
    assert str(line.key) not in client.get(reverse("inspections")).content.decode()


def test_a_line_is_withdrawn_with_a_reason(scene, sign_in):
    line = PastInspectionFactory(tank=scene.tank)
    owner, there = (
        sign_in(Client(), scene.owner),
        reverse("past_inspection_withdraw", args=[line.key]),
    )
    assert owner.post(there, {"reason": " "}).status_code == 422
    assert (
        "another tank"
        in owner.post(there, {"reason": "another tank"}, follow=True).content.decode()
    )
    assert not past.inspections(scene.owner).exists()
