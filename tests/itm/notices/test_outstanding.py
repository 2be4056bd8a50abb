"""A result that a laboratory keeps: told once, to whoever sent the bottle, and to nobody else."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from itm.notices import gathering, news
from itm.notices.models import News
from itm.records.sampling import withdraw_sample
from tests.checks import begun, bottle, sent

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
K = News.Kind


@pytest.fixture
def waiting(scene):
    """Two bottles of one tank, sent on the day that they were filled."""
    gathering.begin_at(NOON)
    check = begun(scene)
    samples = [bottle(check, scene.contractor, point) for point in ("top", "bottom")]
    return [sent(one, scene.contractor) for one in samples]


def told(actor, days: int) -> list[news.Line]:
    now = NOON + timedelta(days=days)
    gathering.gather(now)
    found = news.lines(replace(actor, today=now.date())).object_list
    return [line for line in found if line.news.kind == K.OUTSTANDING]


def test_it_is_told_after_four_weeks_and_once(scene, waiting):
    top, bottom = waiting
    assert told(scene.contractor, 27) == []
    for days in (28, 28, 29):
        [line] = told(scene.contractor, days)
    assert line.told.url == reverse("check", args=[top.concentrate_check.key])
    assert f"sent on 15 Jun 2026: {top.label}, {bottom.label}" in line.told.detail
    assert told(scene.owner, 30) == told(scene.authority, 30) == []


def test_what_came_back_meanwhile_is_no_longer_said_to_wait(scene, waiting):
    top, bottom = waiting
    told(scene.contractor, 28)
    withdraw_sample(actor=scene.contractor, sample=top, reason="lost on the way")
    [line] = told(scene.contractor, 28)
    assert top.label not in line.told.detail
    withdraw_sample(actor=scene.contractor, sample=bottom, reason="lost on the way")
    [line] = told(scene.contractor, 28)
    assert line.told.detail == "sent on 15 Jun 2026: answered or withdrawn since"


def test_a_bottle_that_is_answered_in_time_is_never_told(scene, waiting):
    for sample in waiting:
        withdraw_sample(actor=scene.contractor, sample=sample, reason="another was sent")
    assert told(scene.contractor, 28) == []
