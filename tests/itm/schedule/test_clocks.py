"""Dates are those of the site's own clock: across midnight, zones and changes of the clock."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from itm.actions.adopt import adopt
from itm.actions.record_inspection import record_inspection
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.records.inspecting import Entry
from itm.schedule.due import Window, periodic_cycle, standing
from itm.schedule.models import Duty, Programme

# Zones whose clocks change, one that skipped a whole day (Samoa, 30 December 2011; tz database),
# and the first and last to begin a day.
ZONES = ["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia",
         "Pacific/Kiritimati", "Pacific/Pago_Pago"]  # fmt: skip
days = st.dates(date(2009, 1, 1), date(2032, 12, 31))


@given(zone=st.sampled_from(ZONES), day=days)
@example(zone="Pacific/Apia", day=date(2011, 12, 29))
@example(zone="Pacific/Apia", day=date(2011, 12, 30))  # a day that never was there
@example(zone="Pacific/Apia", day=date(2011, 12, 31))
@example(zone="Australia/Lord_Howe", day=date(2026, 4, 5))
def test_a_day_at_the_site_begins_at_its_own_midnight(zone, day):
    """Whether the clock changed in that night or not."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    shown = date_at(zone, noon)  # noon never falls into a change of the clock but in Samoa
    start = next(
        hours for hours in range(1, 40) if date_at(zone, noon - timedelta(hours=hours)) != shown
    )
    assert 10 <= start <= 14
    assert date_at(zone, noon) >= date_at(zone, noon - timedelta(hours=start))


@given(
    zone=st.sampled_from(ZONES),
    counts_from=days,
    minutes=st.integers(-3 * 1440, 3 * 1440),
    window=st.sampled_from([Window(9, 12, 15), Window(1, 1, 1, "calendar_months"),
                            Window(1, 1, 1, "calendar_weeks"), Window(0, 1, 1, "days")]),
)  # fmt: skip
def test_a_duty_is_late_from_the_first_moment_of_the_day_after_its_last(
    zone, counts_from, minutes, window
):
    cycle = periodic_cycle(window, counts_from)
    last = datetime.combine(cycle.latest_on, datetime.min.time(), ZoneInfo(zone)).astimezone(UTC)
    instant = last + timedelta(minutes=minutes)
    on_site = instant.astimezone(ZoneInfo(zone)).date()
    stands = standing(cycle.window_opens_on, cycle.due_on, cycle.latest_on, date_at(zone, instant))
    assert (stands.name == "overdue") == (on_site > cycle.latest_on)


@pytest.mark.parametrize(
    ("zone", "accepted"), [("Pacific/Auckland", True), ("America/Chicago", False)]
)
def test_new_years_eve_at_the_site_is_not_the_servers(scene, zone, accepted):
    """Pitfalls, part D, 43: the server says 31 December, and in one place it is January already."""
    scene.site.time_zone = zone
    scene.site.save(by=scene.owner)
    adopt(
        actor=scene.owner, programme=Programme.objects.get(code="us-nfpa25-foam-water"),
        starts_on=date(2026, 12, 1), site=scene.site,
    )  # fmt: skip
    duty = Duty.objects.get(requirement__code="N25-04")
    answers = {"level": "95", "valves": "yes", "gauges": "yes", "gauge_readings": "7 bar"}

    def record():
        return record_inspection(
            actor=scene.contractor, site=scene.site, done_on=date(2027, 1, 1), once=uuid4(),
            at=datetime(2026, 12, 31, 18, tzinfo=UTC), entries=[Entry(duty, answers)],
        )  # fmt: skip

    if accepted:
        record()
        duty.refresh_from_db()
        assert duty.done_on == date(2027, 1, 1)
    else:
        with pytest.raises(Refused, match="has not come yet"):
            record()
