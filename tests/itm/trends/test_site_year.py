"""One year of a site: what counts in it, whose it is, and what it costs."""

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.findings import impairing
from itm.findings.deciding import note_by_hand
from itm.schedule.models import Duty
from itm.trends.site_year import site_year, years_of
from tests.deeds import tested
from tests.factories import OrganisationFactory, TankFillFactory, actor_of

NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)


def of(scene, year=2026, actor=None, now=NOW):
    return site_year(actor or scene.owner, scene.site, year, now)


def test_a_test_stands_in_the_year_of_its_day_and_a_corrected_one_says_so(scene):
    sealed = tested(scene)
    found = of(scene)
    [one] = found.tests
    assert (one.test.key, one.number, one.corrected) == (sealed.key, sealed.seal.number, False)
    assert {point.name for point in one.flow_points} == {"minimum", "design"}
    assert (found.outside, found.undecided) == (0, 0)
    assert found.newest.digest == sealed.seal.digest
    assert of(scene, 2025).tests == ()
    # The chain goes on after the year: its end is always the newest.
    assert of(scene, 2025).newest.digest == sealed.seal.digest


def test_a_running_year_ends_today_and_an_old_one_at_its_last_day(scene):
    assert (of(scene).until, of(scene).running) == (date(2026, 6, 20), True)
    assert (of(scene, 2025).until, of(scene, 2025).running) == (date(2025, 12, 31), False)


def test_the_year_is_that_of_the_site_and_not_of_the_server(scene):
    """23:30 on New Year's Eve in UTC is already the next year in Auckland (UTC+13 in summer)."""
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=scene.owner)
    late = datetime(2026, 12, 31, 23, 30, tzinfo=UTC)
    assert not of(scene, 2026, now=late).running


def test_cycles_are_counted_by_how_they_went(scene):
    """Own arithmetic: each cycle of the scene's site is in one of the four, and in none twice."""
    tested(scene)
    duties = Duty.objects.filter(site=scene.site, withdrawn_on=None)
    years = sorted({duty.latest_on.year for duty in duties})
    assert years
    for year in years:
        found = of(scene, year, now=datetime(years[-1], 12, 31, 23, tzinfo=UTC))
        ways = ("in_time", "late", "overdue", "to_come")
        assert sum(found.total(way) for way in ways) == found.total("cycles")
        assert found.total("cycles") == duties.filter(latest_on__year=year).count()
        assert found.late_count == found.total("late") + found.total("overdue")


def test_what_is_missed_is_named_with_its_days(scene):
    tested(scene)
    duty = Duty.objects.filter(site=scene.site, done_on=None, withdrawn_on=None).first()
    after = datetime(duty.latest_on.year, duty.latest_on.month, duty.latest_on.day, 12, tzinfo=UTC)
    found = of(scene, duty.latest_on.year, now=after.replace(year=after.year + 1))
    days = {line.duty.pk: line.days for line in found.late}
    assert days[duty.pk] in (365, 366)


def test_a_deficiency_stands_in_every_year_in_which_it_was_open(scene):
    row = note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, words="hose cracked",
        severity=3, found_on=date(2025, 3, 1), at=NOW,
    )  # fmt: skip
    assert [one.pk for one in of(scene, 2025).wrong] == [row.pk]
    assert [one.pk for one in of(scene, 2026).wrong] == [row.pk]
    assert of(scene, 2024).wrong == ()


def test_hours_out_of_service_are_cut_at_the_year(scene):
    """Own arithmetic, a site on UTC: the last 48 hours of 2025 and the first 12 of 2026."""
    scene.site.time_zone = "UTC"
    scene.site.save(by=scene.owner)
    begun = datetime(2025, 12, 30, tzinfo=UTC)
    impairing.open_by_hand(
        actor=scene.owner, site=scene.site, started_at=begun, at=begun, reason="a leak",
        coordinator="Duty engineer", systems=[scene.system],
    )  # fmt: skip
    now = datetime(2026, 1, 1, 12, tzinfo=UTC)
    assert of(scene, 2025, now=now).hours_out == pytest.approx(48)
    assert of(scene, 2026, now=now).hours_out == pytest.approx(12)


def test_each_reader_finds_what_may_be_read_elsewhere(scene):
    tested(scene)
    assert len(of(scene, actor=scene.authority).tests) == 1
    other = actor_of(OrganisationFactory(kind="contractor"))
    strange = of(scene, actor=other)
    assert (strange.tests, strange.late, strange.stocks, strange.newest) == ((), (), (), None)


def test_concentrate_is_that_of_the_last_day(scene):
    before = of(scene, 2026, now=datetime(2026, 3, 1, tzinfo=UTC))
    TankFillFactory(tank=scene.tank, moved_on=date(2026, 4, 1))
    after = of(scene, 2026)
    assert sum(t.volume for s in after.stocks for t in s.totals()) > sum(
        t.volume for s in before.stocks for t in s.totals()
    )


def test_years_begin_with_the_oldest_system(scene):
    scene.system.commissioned_on = date(2019, 5, 1)
    scene.system.save(by=scene.owner)
    assert list(years_of(scene.site, date(2021, 1, 1))) == [2019, 2020, 2021]


def test_queries_do_not_grow_with_what_happened(scene):
    def cost():
        with CaptureQueriesContext(connection) as captured:
            of(scene)
        return len(captured)

    tested(scene)
    few = cost()
    tested(scene, on=date(2026, 6, 16))
    assert cost() <= few
