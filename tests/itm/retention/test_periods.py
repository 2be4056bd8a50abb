"""From which day a thing may be let go.

Held against the words of the rules themselves: NFPA 25, 4.3 ("until one year after the next of that
kind", second-hand), IFC 901.6.3 ("at least three years", second-hand), and the calendar.
"""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from itm.retention.periods import Period, Thing, first_free_day, free_on, free_with

NEXT = Period(frozenset({"test"}), 1, "next", "one year after the next")
THREE = Period(frozenset({"test", "check"}), 3, "done", "three years")
LIFE = Period(frozenset({"acceptance", "test"}), 0, "life", "as long as it stands")


def test_three_years_are_over_on_the_day_after_the_third_anniversary():
    thing = Thing("check", date(2020, 6, 15))
    assert first_free_day(THREE, thing) == date(2023, 6, 16)
    assert not free_on([THREE], thing).by(date(2023, 6, 15))
    assert free_on([THREE], thing).by(date(2023, 6, 16))


def test_the_last_of_february_ends_with_february():
    assert first_free_day(THREE, Thing("check", date(2024, 2, 29))) == date(2027, 3, 1)


def test_a_year_after_the_next_counts_from_the_next_and_waits_for_it():
    assert free_on([NEXT], Thing("test", date(2020, 6, 15))).day is None
    thing = Thing("test", date(2020, 6, 15), next_on=date(2021, 8, 1))
    assert free_on([NEXT], thing).day == date(2022, 8, 2)


def test_what_stands_is_kept_and_what_was_taken_down_may_go():
    standing = free_on([LIFE], Thing("acceptance", date(1990, 1, 1)))
    assert standing.day is None
    assert standing.why == "kept as long as what it belongs to stands"
    gone = Thing("acceptance", date(1990, 1, 1), ended_on=date(2026, 3, 31))
    assert free_on([LIFE], gone).day == date(2026, 4, 1)


def test_the_longest_of_all_periods_decides():
    thing = Thing("test", date(2020, 6, 15), next_on=date(2021, 6, 15))
    found = free_on([NEXT, THREE], thing)
    assert (found.day, found.period) == (date(2023, 6, 16), THREE)
    late = Thing("test", date(2020, 6, 15), next_on=date(2024, 6, 15))
    found = free_on([THREE, NEXT], late)
    assert (found.day, found.period) == (date(2025, 6, 16), NEXT)


def test_one_period_that_has_not_begun_keeps_it_whatever_the_others_say():
    thing = Thing("test", date(2000, 1, 1), next_on=date(2001, 1, 1))
    found = free_on([NEXT, THREE, LIFE], thing)
    assert (found.day, found.period) == (None, LIFE)


def test_without_a_period_for_its_kind_it_is_kept():
    found = free_on([THREE], Thing("photo", date(1980, 1, 1)))
    assert found.day is None
    assert found.period is None
    assert "no period is set" in found.why


def test_a_file_of_several_records_waits_for_the_last_of_them():
    early, late = Thing("check", date(2019, 1, 1)), Thing("check", date(2021, 1, 1))
    assert free_with([THREE], [early, late]).day == date(2024, 1, 2)
    assert free_with([THREE], [late, early]).day == date(2024, 1, 2)
    assert free_with([THREE], [early, Thing("photo", date(1980, 1, 1))]).day is None
    assert free_with([THREE], []).day is None


DAYS = st.dates(date(1970, 1, 1), date(2060, 12, 31))
PERIODS = st.lists(
    st.builds(
        Period, st.just(frozenset({"test"})), st.integers(0, 30),
        st.sampled_from(["done", "next", "life"]), st.just("drawn"),
    ),
    max_size=4,
)  # fmt: skip


@given(PERIODS, PERIODS, DAYS, st.none() | DAYS, st.none() | DAYS)
def test_another_period_never_makes_it_earlier(some, more, done, following, ended):
    thing = Thing("test", done, following, ended)
    before, after = free_on(some, thing), free_on([*some, *more], thing)
    if before.period is not None and before.day is None:
        assert after.day is None
    if before.day is not None and after.day is not None:
        assert after.day >= before.day
    for period in some:
        if before.day is not None and period.counts_from == "done":
            assert before.day > done + timedelta(days=365 * period.years - 1)


@pytest.mark.parametrize("years", [0, 1, 15])
def test_it_is_never_free_on_the_day_itself(years):
    period = Period(frozenset({"plan"}), years, "done", "")
    assert not free_on([period], Thing("plan", date(2026, 1, 1))).by(date(2026, 1, 1))
