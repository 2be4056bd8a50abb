"""Tasks of a round that come from two phones at the same moment, on PostgreSQL."""

import uuid
from datetime import UTC, datetime

import pytest
from django.db import transaction

from itm.doors.entries import take
from itm.records import services
from itm.records.models import Inspection, InspectionLine
from tests.deeds import look_duty
from tests.factories import TODAY
from tests.races.test_races import _real_database, at_once, programme  # noqa: F401

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
LOOK = ["places: top", "paper: R-1"]
NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 9, tzinfo=UTC)


@pytest.fixture
def inspect(programme, scene):  # noqa: F811
    """Gives a deed: one answer to the look at the scene's tank, as its phone sends it."""
    visit = services.plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    with transaction.atomic():
        duty = look_duty(scene)

    def made(*answers: str, **texts: str):
        raw = {
            "key": str(uuid.uuid4()), "verb": "inspect", "of": {"visit": str(visit.key)},
            "put": {"duty": str(duty.key), "answers": list(answers), **texts},
            "at": NOW.isoformat(),
        }  # fmt: skip
        return lambda: take(actor=scene.contractor, entries=[raw], device_now=NOW, at=NOW)[0]

    return made


def test_of_two_words_on_one_task_at_once_one_is_asked_about(inspect):
    answers = at_once(inspect(*LOOK, "fit: yes"), inspect(*LOOK, "fit: no"))
    assert sorted(answer.state for answer in answers) == ["crossed", "taken"]
    assert InspectionLine.objects.count() == 1


def test_the_same_said_by_six_at_once_is_one_line(inspect):
    answers = at_once(*[inspect(*LOOK, "fit: yes") for _ in range(6)])
    assert {answer.state for answer in answers} == {"taken"}
    assert sorted(answer.code for answer in answers) == ["", *["stood_already"] * 5]
    assert InspectionLine.objects.count() == Inspection.objects.count() == 1


def test_six_that_could_not_at_once_are_one_round_of_six_lines(inspect):
    answers = at_once(*[inspect(reason=f"locked, gate {n}") for n in range(6)])
    assert {answer.state for answer in answers} == {"taken"}, answers
    assert InspectionLine.objects.count() == 6
    assert Inspection.objects.count() == 1
