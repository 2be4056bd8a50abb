"""The tick that something else is not in order: kept with its line, shown, and corrected."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from itm.findings.models import Deficiency
from itm.records.models import Inspection, InspectionLine
from tests.deeds import LOOKED, look_duty
from tests.itm.api.conftest import program  # noqa: F401

WORDS = "Something else is not in order"


def text(answer) -> str:
    return answer.content.decode()


@pytest.fixture
def look(enter, scene):
    """A look at the tank by the owner, by the page, with the tick or without."""
    duty = look_duty(scene)

    def sent(**values):
        form = {"done_on": "2026-06-10", "once": str(uuid4()), "note": "",
                **{f"{duty.pk}-{key}": value for key, value in values.items()}}  # fmt: skip
        return enter("owner").post(reverse("inspect", args=[scene.site.key]), form)

    return sent


@pytest.mark.parametrize("fit", ["yes", "no"])
def test_the_tick_is_kept_also_where_an_answer_shows_a_fault(enter, look, fit):
    assert look(**{**LOOKED, "fit": fit}, broken="on").status_code == 302
    line = InspectionLine.objects.get()
    assert (line.outcome, line.other_fault, line.ticked) == ("fault", True, True)
    page = text(enter("authority").get(reverse("inspection", args=[line.inspection.key])))
    assert WORDS in page
    assert Deficiency.objects.count() == 1


@pytest.mark.parametrize("fit", ["yes", "no"])
def test_without_it_nothing_else_is_said(enter, look, fit):
    look(**{**LOOKED, "fit": fit})
    line = InspectionLine.objects.get()
    assert (line.other_fault, line.ticked) == (False, False)
    page = text(enter("owner").get(reverse("inspection", args=[line.inspection.key])))
    assert WORDS not in page


def test_a_tick_beside_not_possible_is_asked_about_and_never_dropped(look):
    answer = look(reason="shut", broken="on")
    assert answer.status_code == 422
    assert "empty the answers and the tick, or the reason" in text(answer)
    assert 'value="shut"' in text(answer)
    assert not Inspection.objects.exists()


def test_a_correction_begins_with_the_tick_and_takes_it_back(enter, look):
    look(**LOOKED, broken="on")
    line = InspectionLine.objects.get()
    there = reverse("inspection_correct", args=[line.key])
    page = text(enter("owner").get(there))
    assert 'name="broken"' in page
    assert "checked" in page.split('name="broken"')[1].split(">")[0]
    form = {"once": str(uuid4()), "why": "ticked by mistake", "note": "", **LOOKED}
    assert enter("owner").post(there, form).status_code == 302
    made = InspectionLine.objects.get(corrects=line)
    assert (made.outcome, made.other_fault) == ("in_order", False)


def test_programs_send_and_read_it(scene, program):  # noqa: F811
    duty = look_duty(scene)
    line = {"duty": str(duty.key), "answers": {**LOOKED, "fit": "no"}, "broken": True}
    body = {"site": str(scene.site.key), "done_on": "2026-06-15", "lines": [line]}
    got = program(scene.contractor).ask("post", "/inspections/", body, Idempotency_Key=str(uuid4()))
    assert got.status_code == 201, got.content
    assert got.json()["lines"][0]["broken"] is True


def test_of_an_older_line_it_is_said_as_far_as_it_shows(look):
    """What was kept before: the outcome and the answers alone."""
    look(**LOOKED, broken="on")
    line = InspectionLine.objects.get()
    line.other_fault = None
    assert line.ticked  # every answer is in order, and the line is not
    line.answers = [{**one, "in_order": False} for one in line.answers]
    assert not line.ticked  # nobody knows, so nothing is claimed


def test_the_database_takes_no_tick_on_what_is_in_order(scene, look):
    look(**LOOKED)
    line = InspectionLine.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        InspectionLine(
            inspection=line.inspection, requirement=line.requirement, tank=scene.tank, words="w",
            place="p", source="s", outcome="in_order", other_fault=True,
        ).save(by=scene.owner)  # fmt: skip
    assert line.inspection.done_on == date(2026, 6, 10)
