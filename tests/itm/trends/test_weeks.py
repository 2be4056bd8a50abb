"""Ninety days by week: what is in them, on which day, and at which cost."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.models import Organisation
from itm.schedule.sweep import sweep
from itm.trends.stretch import PAGE
from itm.trends.weeks import SHOWN, folded, one_week, weeks
from tests.factories import OrganisationFactory, SiteFactory, actor_of
from tests.itm.schedule.many import many_duties
from tests.itm.trends.kept import visited
from tests.itm.trends.test_next_things import begun

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)  # a Monday


def lines(scene, actor=None, **asked) -> list[tuple]:
    found = weeks(actor or scene.owner, NOW, **asked)
    return [(line.on, line.note) for week in found for line in week.lines]


@pytest.mark.parametrize(
    ("tested", "line"),
    [
        (date(2025, 9, 20), (date(2026, 9, 13), None)),
        (date(2025, 9, 13), (date(2026, 9, 13), "due; latest 13 Dec 2026")),
        (date(2025, 6, 16), (date(2026, 6, 16), "due; latest 16 Sep 2026")),
        (date(2025, 6, 1), (date(2026, 9, 1), "the last day")),
        (date(2025, 3, 15), (date(2026, 6, 15), "the last day")),
        (date(2025, 3, 14), (date(2026, 6, 14), None)),
    ],
)
def test_a_duty_stands_on_the_next_day_that_matters(scene, tested, line):
    """Annual, nine to fifteen months: check value I-02, NFPA 25 (2020) 3.7, from memory."""
    begun(scene, tested)
    assert lines(scene) == ([line] if line[1] else [])


def test_the_weeks_are_those_of_the_calendar_and_cover_ninety_days(scene):
    """ISO 8601: a week begins on Monday. Held against date.isocalendar of the standard library."""
    found = weeks(scene.owner, datetime(2026, 12, 30, 12, tzinfo=UTC))
    assert {week.monday.isocalendar().weekday for week in found} == {1}
    assert [week.monday.isocalendar().week for week in found][:3] == [53, 1, 2]
    assert found[-1].monday <= date(2026, 12, 30) + timedelta(days=90)
    assert len(found) == 14


def test_planned_visits_show_to_whose_plan_they_are(scene):
    visited(scene.contractor, scene.proportioner, date(2026, 6, 20), started=False)
    assert lines(scene, scene.contractor) == [(date(2026, 6, 20), "planned")]
    assert lines(scene) == []


def test_a_stranger_sees_nothing_of_it_and_a_name_narrows_it(scene):
    begun(scene, date(2025, 6, 16))
    stranger = actor_of(OrganisationFactory(kind=Organisation.Kind.OWNER))
    assert len(lines(scene)) == len(lines(scene, scene.authority)) == 1
    assert lines(scene, stranger) == lines(scene, site="elsewhere") == []


def test_a_full_week_shows_some_and_its_own_page_all_of_them(scene):
    sites = [SiteFactory(owner=scene.owner.organisation) for _ in range(5)]
    many_duties(sites, 2000, begun=date(2026, 6, 15), days=60)
    sweep(NOW)
    found = weeks(scene.owner, NOW)
    full = max(found, key=lambda week: len(week.lines))
    assert (len(full.lines), full.more) == (SHOWN, True)
    first = one_week(scene.owner, NOW, full.monday)
    assert first.object_list[:SHOWN] == full.lines
    assert (len(first.object_list), first.has_next) == (PAGE, True)
    days = [line.on for line in first.object_list]
    assert days == sorted(days)
    assert full.monday <= days[0] <= days[-1] < full.monday + timedelta(days=7)
    second = one_week(scene.owner, NOW, full.monday, page=2)
    assert not {line.key for line in first.object_list} & {line.key for line in second.object_list}


def test_the_weeks_cost_the_same_for_one_duty_and_for_two_thousand(scene):
    """Sites in reach, one query a week, then one look at each table."""

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            weeks(scene.owner, NOW)
        return len(captured)

    many_duties([scene.site], 50, begun=date(2026, 6, 15), days=60)
    few = cost()
    site = SiteFactory(owner=scene.owner.organisation)
    many_duties([site], 2000, begun=date(2026, 6, 15), days=60)
    assert cost() == few <= 18


def test_weeks_without_anything_that_follow_each_other_are_one_line(scene):
    begun(scene, date(2025, 7, 20))
    found = folded(weeks(scene.owner, NOW))
    assert [(week.words, len(week.lines)) for week in found] == [
        ("15 Jun 2026 to 19 Jul 2026", 0),
        ("20 Jul 2026 to 26 Jul 2026", 1),
        ("27 Jul 2026 to 13 Sep 2026", 0),
    ]
