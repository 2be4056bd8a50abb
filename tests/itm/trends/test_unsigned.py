"""A result that nobody has signed for two weeks is told to owner and authority, without what it
says. The days are our own choice: no published source."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from itm.actions.send_back import send_back
from itm.notices import gathering, news
from itm.notices.models import News
from itm.trends.jurisdiction import jurisdiction
from itm.trends.next_things import next_things
from itm.trends.systems import systems
from itm.trends.unsigned import WAITS
from itm.trends.work import unsigned
from tests.checks import checked
from tests.deeds import tested
from tests.factories import OrganisationFactory, actor_of

LEAN = {"minimum": 2.0, "design": 3.4}
ALL = ("owner", "authority", "contractor")


@pytest.fixture
def waiting(scene):
    return tested(scene, LEAN, on=date(2026, 6, 15), until="handed_in")


def at(actor, now: datetime):
    return replace(actor, today=now.date())


def listed(actor, now: datetime) -> list:
    found = next_things(at(actor, now), now, kind="unsigned").object_list
    assert {thing.kind for thing in found} <= {"unsigned"}
    return found


def test_it_is_told_after_two_weeks_with_its_age_and_without_a_figure(scene, waiting):
    for who in ALL:
        actor = getattr(scene, who)
        assert listed(actor, waiting.handed_in_at + WAITS - timedelta(seconds=1)) == []
        [thing] = listed(actor, waiting.handed_in_at + timedelta(days=20))
        assert (thing.site, thing.who) == (scene.site.name, scene.contractor.organisation_name)
        assert thing.where == f"{scene.system.name}, {scene.proportioner.tag}"
        assert thing.how_long == "not signed for 20 days"
        assert thing.detail == "handed in on 15 Jun 2026"
        assert (thing.limits, thing.certainty) == ("", "")
        got = scene_page(actor, thing)
        assert got.status_code == 200


def scene_page(actor, thing):
    client = Client()
    client.force_login(actor.user)
    return client.get(reverse(thing.page, args=[thing.key]))


def test_others_are_not_told(scene, waiting):
    later = waiting.handed_in_at + timedelta(days=20)
    for kind in ("owner", "authority", "contractor"):
        assert listed(actor_of(OrganisationFactory(kind=kind)), later) == []


def test_what_went_back_or_was_signed_waits_no_longer(scene, waiting):
    later = waiting.handed_in_at + timedelta(days=20)
    send_back(actor=scene.owner, key=waiting.key, reason="look again", at=later)
    for who in ALL:
        assert listed(getattr(scene, who), later) == []
    tested(scene, LEAN, on=date(2026, 6, 16))
    assert listed(scene.authority, later) == []


def test_a_check_is_told_as_a_test_is(scene):
    check = checked(scene, until="handed_in")
    later = check.handed_in_at + timedelta(days=15)
    for who, page in (("owner", "check"), ("authority", "site"), ("contractor", "check")):
        [thing] = listed(getattr(scene, who), later)
        assert (thing.page, thing.where) == (page, f"tank {scene.tank.tag}")
        assert thing.what == "Concentrate check handed in, not signed"
        assert thing.how_long == "not signed for 15 days"


def test_it_is_news_once_for_all_three(scene, waiting):
    gathering.begin_at(waiting.handed_in_at)
    for days in (13, 15, 15, 16):
        gathering.gather(waiting.handed_in_at + timedelta(days=days))
    for who in ALL:
        actor = at(getattr(scene, who), waiting.handed_in_at + timedelta(days=16))
        told = [one for one in news.lines(actor).object_list if one.news.kind == "unsigned"]
        [line] = told
        assert line.told.detail.startswith("handed in on 15 Jun 2026 by ")
        assert (line.told.limits, line.told.certainty) == ("", "")
        assert line.told.url
    assert News.objects.filter(kind="unsigned").count() == 1
    send_back(
        actor=scene.owner, key=waiting.key, reason="x",
        at=waiting.handed_in_at + timedelta(days=17),
    )  # fmt: skip
    [line] = [one for one in news.lines(scene.authority).object_list if one.news.kind == "unsigned"]
    assert line.told.detail == "signed or sent back since"


def test_the_sheet_of_the_jurisdiction_counts_and_names_it(scene, waiting):
    check = checked(scene, until="handed_in")
    later = max(check.handed_in_at, waiting.handed_in_at) + timedelta(days=14)
    seen = jurisdiction(at(scene.authority, later), later)
    assert (seen.unsigned_count, [line.unsigned for line in seen.sites]) == (2, [2])
    assert {one.what.split()[0] for one in seen.unsigned} == {"Proportioning", "Concentrate"}


def test_the_crew_is_asked_to_sign_it_where_its_work_lies(scene, waiting):
    early, late = (waiting.handed_in_at + timedelta(days=days) for days in (13, 14))
    for now, long in ((early, False), (late, True)):
        [row] = unsigned(scene.contractor, now).rows
        assert row.waits_long is long


def test_the_list_of_systems_marks_it_and_says_nothing_of_it(scene, waiting):
    now = waiting.handed_in_at + timedelta(days=20)
    [early] = systems(
        scene.authority, waiting.handed_in_at + WAITS - timedelta(seconds=1)
    ).object_list
    [row] = systems(scene.authority, now).object_list
    assert (early.waits, row.waits) == ("", "not signed for 20 days")
    assert row.stands != "outside"  # nobody but its maker knows yet that it is lean
    client = Client()
    client.force_login(scene.authority.user)
    page = client.get(reverse("home")).content.decode()
    assert "A result</a> <small>not signed for" in page


def test_a_check_that_waits_is_marked_at_the_systems_that_its_tank_feeds(scene):
    check = checked(scene, until="handed_in")
    now = check.handed_in_at + timedelta(days=15)
    [row] = systems(scene.authority, now).object_list
    assert row.waits == "not signed for 15 days"
