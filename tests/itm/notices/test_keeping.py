"""That files are to be let go is told to everybody of the owner, while it can be taken back."""

import pytest

from itm.notices import gathering, news
from itm.notices.models import News
from itm.notices.models.news import KEEPING
from itm.retention.letting import carry_out, take_back
from tests.factories import actor_of
from tests.keeping import NOW, OVER, a_month_later, adopted, decided, paper

K = News.Kind


@pytest.fixture
def plan(scene, time_machine):
    """A plan past its period."""
    time_machine.move_to(NOW, tick=False)
    gathering.begin_at(NOW)
    adopted(scene, "eu-pfas-plan")
    return paper(scene, kind="plan")


def told(actor, now=NOW) -> list[str]:
    gathering.gather(now)
    return [row.kind for row in news.new_for(actor) if row.kind in KEEPING]


def test_a_colleague_hears_that_files_are_to_go_and_when_and_why(scene, plan):
    decided(scene, "plan", plan)
    colleague = actor_of(scene.owner.organisation, "manager")
    assert told(colleague) == [K.GOING]
    [line] = news.lines(colleague).object_list[:1]
    assert "1 file of PFAS management plans, on 1 Dec 2026, decided by" in line.told.detail
    assert line.told.url.startswith("/keeping/decisions/")
    member = actor_of(scene.owner.organisation, "member")
    [line] = news.lines(member).object_list[:1]
    assert line.told.url == f"/sites/{scene.site.key}/"  # only those who may object go further
    assert told(scene.owner) == told(scene.authority) == told(scene.contractor) == []


def test_what_became_of_it_is_told_as_well(scene, plan, time_machine):
    colleague = actor_of(scene.owner.organisation, "manager")
    first = decided(scene, "plan", plan)
    take_back(actor=scene.owner, row=first, at=NOW)
    assert sorted(told(colleague)) == [K.GOING, K.STAYS]
    decided(scene, "plan", plan)
    time_machine.move_to(OVER, tick=False)
    carry_out(OVER)
    assert told(colleague, OVER)[:1] == [K.GONE]
    assert K.GONE in told(scene.owner, OVER)  # the clock did it, not the person


def test_that_files_are_kept_on_is_told_to_nobody(scene, plan):
    decided(scene, "plan", plan, verb="keep", until=a_month_later().date())
    assert told(actor_of(scene.owner.organisation, "manager")) == []
