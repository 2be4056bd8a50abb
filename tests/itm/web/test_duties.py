"""One duty on its page: its source, and every cycle with its spacing."""

from datetime import date
from uuid import uuid4

from django.urls import reverse
from django.utils.html import escape

from itm.core.clock import add_months
from itm.schedule.due import Result
from itm.schedule.models import Duty
from itm.schedule.services import refresh
from tests.checks import checked
from tests.deeds import inspection_of


def text(answer) -> str:
    return answer.content.decode()


def proved_every(scene, months: int, times: int) -> Duty:
    on, results = date(2018, 3, 1), []
    for _ in range(times):
        on = add_months(on, months)
        results.append(Result(on, "in band", "settled", "periodic", "as_found", uuid4()))
    refresh(actor=scene.owner, proportioner=scene.proportioner, results=results)
    return Duty.objects.get(done_on=None)


def test_a_due_date_that_wanders_inside_its_windows_is_shown(enter, scene):
    """Pitfalls 42: seven tests fourteen months apart, where eight intervals have passed."""
    duty = proved_every(scene, 14, 7)
    said = text(enter("authority").get(reverse("duty", args=[duty.key])))
    assert "The due date has wandered" in said
    assert '<span class="num">7</span> done since 1 Mar 2018' in said
    assert '<span class="num">8</span> intervals' in said


def test_a_steady_rhythm_says_nothing(enter, scene):
    duty = proved_every(scene, 12, 7)
    said = text(enter("owner").get(reverse("duty", args=[duty.key])))
    assert "wandered" not in said
    assert escape(duty.requirement.source) in said


def test_a_missed_cycle_keeps_its_days_after_the_next_is_done(enter, scene):
    """Pitfalls 40: done in month 16 of a window that ends after 15."""
    duty = proved_every(scene, 16, 1)
    said = text(enter("owner").get(reverse("duty", args=[duty.key])))
    assert "<strong>30 days</strong>" in said  # 1 June to 1 July 2019


def test_the_record_that_ended_a_cycle_is_one_step_away(enter, scene):
    made = inspection_of(scene)
    duty = Duty.objects.get(done_by_record=made.key)
    said = text(enter("contractor").get(reverse("duty", args=[duty.key])))
    assert reverse("inspection", args=[made.key]) in said
    check = checked(scene)
    duty = Duty.objects.get(done_by_record=check.key)
    said = text(enter("contractor").get(reverse("duty", args=[duty.key])))
    assert reverse("check", args=[check.key]) in said
