"""Days pass: the stored standings follow, however many days, on the clock of each site."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.actor import system
from itm.core.models import Change
from itm.schedule import sweep as sweeping
from itm.schedule.models import Duty
from itm.schedule.standing import differing
from itm.schedule.sweep import DayAfter, behind, catch_up, passed, sweep
from tests.factories import SiteFactory
from tests.itm.schedule.many import many_duties

BEGUN = date(2024, 1, 1)
# East and west of everybody, half and three quarter hours, with and without summer time.
ZONES = [
    "Pacific/Kiritimati", "Pacific/Pago_Pago", "Asia/Kathmandu", "America/St_Johns",
    "Australia/Lord_Howe", "Europe/Lisbon", "UTC",
]  # fmt: skip


@pytest.fixture
def duties(db):
    many_duties([SiteFactory(time_zone=zone) for zone in ZONES], 600, begun=BEGUN)


def wrong(now: datetime) -> list[Duty]:
    return list(differing(Duty.objects.all(), system(now.date(), at=now)))


def test_after_each_sweep_every_standing_is_what_the_dates_say(duties):
    """Over a leap day, both changes of the clock, single days, hours, and months of being off."""
    at = datetime(2024, 1, 1, 12, tzinfo=UTC)
    steps = [timedelta(0), timedelta(hours=9), timedelta(days=1), timedelta(days=57)]
    steps += [timedelta(hours=13)] * 6  # about 29 February
    steps += [timedelta(days=31), timedelta(hours=1), timedelta(days=200), timedelta(days=500)]
    moved = 0
    for step in steps:
        at += step
        moved += sweep(at)
        assert wrong(at) == []
    assert moved > 600
    assert set(Duty.objects.values_list("stands", flat=True)) >= {"due", "overdue"}


def test_only_what_a_day_changes_is_written(duties):
    now = datetime(2024, 6, 15, 12, tzinfo=UTC)
    by_dates = {duty.pk for duty in wrong(now)}
    assert {duty.pk for _, rows in passed(now) for duty in rows} == by_dates
    untouched = Duty.objects.exclude(pk__in=by_dates).order_by("pk")
    before = list(untouched.values_list("pk", "stands", "stands_changes_on"))
    assert sweep(now) == len(by_dates) > 100
    assert list(untouched.values_list("pk", "stands", "stands_changes_on")) == before


def test_a_second_sweep_moves_nothing(duties):
    now = datetime(2024, 6, 15, 12, tzinfo=UTC)
    assert behind(now)
    assert sweep(now) > 0
    assert not behind(now)
    assert sweep(now) == 0


def test_the_clock_of_the_site_decides(db):
    """One instant, three dates: of two sites the eastern one begins its day first."""
    east, west = SiteFactory(time_zone="Pacific/Kiritimati"), SiteFactory(time_zone="Etc/GMT+12")
    many_duties([east, west], 200, begun=BEGUN)
    sweep(datetime(2024, 3, 1, 10, 30, tzinfo=UTC))  # 2 March in the east, 29 February in the west
    held = Duty.objects.exclude(stands_changes_on=None)
    assert min(held.filter(site=east).values_list("stands_changes_on", flat=True)) > date(
        2024, 3, 2
    )
    assert wrong(datetime(2024, 3, 1, 10, 30, tzinfo=UTC)) == []


def test_it_takes_as_many_statements_as_the_world_shows_dates(duties):
    now = datetime(2024, 6, 15, 10, 30, tzinfo=UTC)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        sweep(now)
    written = [query["sql"] for query in asked if query["sql"].startswith("UPDATE")]
    assert len(written) == 3


def test_no_history_is_written(duties):
    before = Change.objects.count()
    assert sweep(datetime(2025, 6, 15, tzinfo=UTC)) > 0
    assert Change.objects.count() == before


def test_both_databases_know_the_day_after_every_day_of_a_leap_year(duties):
    """Held against the calendar of Python's standard library."""
    first = Duty.objects.order_by("pk").first()
    rows = Duty._base_manager.filter(pk=first.pk)
    rows.update(stands="at_rest", stands_changes_on=None)
    for number in range(0, 800, 7):
        day = date(2023, 12, 25) + timedelta(days=number)
        rows.update(window_opens_on=day, due_on=day, latest_on=day)
        [next_day] = rows.annotate(after=DayAfter("latest_on")).values_list("after", flat=True)
        assert next_day == day + timedelta(days=1)


def test_a_page_goes_on_where_the_database_cannot_be_written(duties, monkeypatch, caplog):
    def refuse(now):
        raise sweeping.DatabaseError("read only")

    monkeypatch.setattr(sweeping, "sweep", refuse)
    catch_up(datetime(2025, 6, 15, tzinfo=UTC))
    assert "could not be brought up to date" in caplog.text
