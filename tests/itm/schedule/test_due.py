"""Rules over dates, by laws that hold for any history; published ones: test_published_dates.py."""

from datetime import date, timedelta
from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from itm.core.clock import add_months
from itm.schedule.due import (
    RETEST_DAYS,
    Cycle,
    Result,
    Standing,
    Window,
    cycles,
    days_missed,
    missed_tests,
    standing,
)

ANNUAL = Window(earliest=9, interval=12, latest=15)
SHIP = Window(earliest=0, interval=12, latest=12)
BEGUN = date(2020, 1, 31)


def result(on: date, limits="in band", certainty="settled", phase="as_found", key=None) -> Result:
    return Result(on, limits, certainty, "periodic", phase, key or uuid4())


def of(cause: str, made: list[Cycle]) -> list[Cycle]:
    return [cycle for cycle in made if cycle.cause == cause]


# Periodic cycles --------------------------------------------------------------------------------


def test_commissioning_starts_the_first_cycle():
    [cycle] = cycles(ANNUAL, BEGUN, [])
    assert (cycle.cause, cycle.counts_from, cycle.done_on) == ("periodic", BEGUN, None)
    assert cycle.window_opens_on == date(2020, 10, 31)
    assert cycle.due_on == date(2021, 1, 31)
    assert cycle.latest_on == date(2021, 4, 30)


@pytest.mark.parametrize(
    ("tested_on", "done"), [(date(2020, 10, 30), False), (date(2020, 10, 31), True)]
)
def test_a_test_before_the_window_opens_completes_nothing(tested_on, done):
    """Pitfall 41: done in month 7 to please a budget."""
    first, *following = of("periodic", cycles(ANNUAL, BEGUN, [result(tested_on)]))
    assert (first.done_on == tested_on) is done
    assert [cycle.counts_from for cycle in following] == ([tested_on] if done else [])


def test_a_late_test_leaves_one_missed_cycle_and_no_made_up_ones():
    """Pitfall 40: the gap stays to be seen."""
    late = date(2022, 2, 1)
    first, open_one = of("periodic", cycles(ANNUAL, BEGUN, [result(late)]))
    assert first.done_on == late
    assert days_missed(first.latest_on, late) == (late - date(2021, 4, 30)).days
    assert missed_tests(ANNUAL, BEGUN, late) == 1
    assert open_one.counts_from == late


@pytest.mark.parametrize(("months", "missed"), [(12, 0), (15, 0), (16, 1), (24, 1), (28, 2)])
def test_missed_tests_of_a_gap_are_counted(months, missed):
    begun = date(2020, 1, 15)
    assert missed_tests(ANNUAL, begun, add_months(begun, months)) == missed


def test_records_out_of_order_make_the_same_cycles():
    days = [date(2021, 1, 20), date(2022, 2, 2), date(2023, 1, 15)]
    results = [result(day) for day in days]
    assert cycles(ANNUAL, BEGUN, results[::-1]) == cycles(ANNUAL, BEGUN, results)


def test_as_left_of_the_day_does_not_count_as_a_second_year():
    day = date(2021, 1, 20)
    found, left = result(day), result(day, phase="as_left")
    for window in (ANNUAL, SHIP):
        made = of("periodic", cycles(window, BEGUN, [left, found]))
        assert [(cycle.done_on, cycle.done_by) for cycle in made] == [
            (day, found.key),
            (None, None),
        ]


# Retests ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("limits", ["lean", "rich"])
@pytest.mark.parametrize("certainty", ["settled", "undecided"])
def test_outside_the_limits_is_due_again_the_same_day(limits, certainty):
    """The days allowed are our own choice, no source."""
    day = date(2021, 1, 20)
    [retest] = of("retest", cycles(ANNUAL, BEGUN, [result(day, limits, certainty)]))
    assert (retest.due_on, retest.latest_on) == (day, day + timedelta(days=RETEST_DAYS))
    assert retest.done_on is None


def test_undecided_inside_the_limits_has_its_days():
    day = date(2021, 1, 20)
    [retest] = of("retest", cycles(ANNUAL, BEGUN, [result(day, certainty="undecided")]))
    assert retest.window_opens_on == day
    assert retest.due_on == retest.latest_on == day + timedelta(days=RETEST_DAYS)


def test_the_next_test_ends_the_retest_and_may_open_another():
    days = [date(2021, 1, 20), date(2021, 2, 1), date(2021, 3, 1)]
    lean, rich, fine = result(days[0], "lean"), result(days[1], "rich"), result(days[2])
    made = of("retest", cycles(ANNUAL, BEGUN, [fine, rich, lean]))
    assert [(c.counts_from, c.done_on, c.done_by) for c in made] == [
        (days[0], days[1], rich.key),
        (days[1], days[2], fine.key),
    ]


def test_as_left_ends_what_as_found_opened_the_same_day():
    day = date(2021, 1, 20)
    found, left = result(day, "lean"), result(day, phase="as_left")
    [retest] = of("retest", cycles(ANNUAL, BEGUN, [left, found]))
    assert (retest.counts_from, retest.done_on, retest.done_by) == (day, day, left.key)


def test_a_retest_outside_the_window_moves_no_periodic_cycle():
    day = date(2021, 1, 20)
    later = result(date(2021, 2, 10))
    made = cycles(ANNUAL, BEGUN, [result(day, "lean"), later])
    assert of("periodic", made)[-1].counts_from == day
    assert of("retest", made)[-1].done_on == later.tested_on


def test_a_retest_inside_the_window_completes_both():
    early, inside = result(date(2020, 10, 1), "lean"), result(date(2020, 11, 5))
    made = cycles(ANNUAL, BEGUN, [early, inside])
    assert {cycle.cause for cycle in made if cycle.done_by == inside.key} == {"periodic", "retest"}


# Standing ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("today", "name", "days", "words"),
    [
        (date(2025, 12, 13), "ahead", 2, "window opens in 2 days"),
        (date(2025, 12, 15), "open", 90, "due in 90 days"),
        (date(2026, 3, 14), "open", 1, "due in 1 day"),
        (date(2026, 3, 15), "due", 92, "92 days left"),
        (date(2026, 6, 15), "due", 0, "today is the last day"),
        (date(2026, 6, 16), "overdue", 1, "1 day late"),
    ],
)
def test_standing_on_each_side_of_each_boundary(today, name, days, words):
    """Boundaries of check value I-03; names of the standing are our own."""
    stands = standing(date(2025, 12, 15), date(2026, 3, 15), date(2026, 6, 15), today)
    assert stands == Standing(name, days)
    assert stands.words == words


def test_without_room_the_duty_is_overdue_the_day_after_its_interval():
    """Ship and federal rules state an interval and no room (design, section 6)."""
    [cycle] = cycles(SHIP, date(2025, 3, 15), [])
    after = cycle.due_on + timedelta(days=1)
    dates = (cycle.window_opens_on, cycle.due_on, cycle.latest_on)
    assert standing(*dates, cycle.due_on) == Standing("due", 0)
    assert standing(*dates, after) == Standing("overdue", 1)


# Laws -------------------------------------------------------------------------------------------

days = st.dates(date(1996, 1, 1), date(2104, 12, 31))
windows = st.tuples(st.integers(0, 40), st.integers(1, 40), st.integers(0, 40)).map(
    lambda n: Window(min(n[0], n[1]), n[1], n[1] + n[2])
)
histories = st.lists(
    st.builds(
        Result,
        st.one_of(
            days,
            st.sampled_from([date(2000, 2, 29), date(2024, 2, 29), date(2023, 2, 28)]),
        ),
        st.sampled_from(["in band", "lean", "rich"]),
        st.sampled_from(["settled", "undecided"]),
        st.just("periodic"),
        st.sampled_from(["as_found", "as_left"]),
        st.uuids(),
    ),
    max_size=12,
    unique_by=lambda r: (r.tested_on, r.phase),
)


@given(windows, days)
def test_law_the_window_is_in_order(window, begun):
    [cycle] = cycles(window, begun, [])
    assert begun <= cycle.window_opens_on <= cycle.due_on <= cycle.latest_on
    assert cycle.due_on.day <= begun.day
    assert (cycle.due_on.year - begun.year) * 12 + cycle.due_on.month - begun.month == (
        window.interval
    )


@given(windows, days, histories, st.randoms(use_true_random=False))
def test_law_order_of_arrival_does_not_matter(window, begun, history, shuffler):
    shuffled = list(history)
    shuffler.shuffle(shuffled)
    assert cycles(window, begun, shuffled) == cycles(window, begun, history)


@given(windows, days, histories)
def test_law_periodic_cycles_are_one_chain_with_one_open_end(window, begun, history):
    chain = of("periodic", cycles(window, begun, history))
    assert chain[0].counts_from == begun
    assert [cycle.done_on for cycle in chain[:-1]] == [cycle.counts_from for cycle in chain[1:]]
    assert chain[-1].done_on is None
    assert all(cycle.done_on >= cycle.window_opens_on for cycle in chain[:-1])
    assert all(cycle.done_on > cycle.counts_from for cycle in chain[:-1])
    keys: list[UUID | None] = [cycle.done_by for cycle in chain[:-1]]
    assert len(set(keys)) == len(keys)


@given(windows, days, histories)
def test_law_a_retest_is_open_exactly_while_the_latest_result_does_not_prove(
    window, begun, history
):
    retests = of("retest", cycles(window, begun, history))
    latest = max(history, key=lambda r: (r.tested_on, r.phase == "as_left"), default=None)
    still_open = [cycle for cycle in retests if cycle.done_on is None]
    assert len(still_open) == (0 if latest is None or latest.proves else 1)
    assert len(retests) == sum(not r.proves for r in history)
    assert all(cycle.done_on is None or cycle.done_on >= cycle.counts_from for cycle in retests)


@given(windows, days, days)
def test_law_standing_grows_worse_day_by_day(window, begun, today):
    [cycle] = cycles(window, begun, [])
    dates = (cycle.window_opens_on, cycle.due_on, cycle.latest_on)
    order = ["ahead", "open", "due", "overdue"]
    one, two = standing(*dates, today), standing(*dates, today + timedelta(days=1))
    assert order.index(one.name) <= order.index(two.name)
    assert one.days >= 0
    assert (one.name == "overdue") == (days_missed(cycle.latest_on, today) > 0)


@given(windows, days, st.integers(0, 4000))
def test_law_a_test_is_missed_exactly_when_days_are(window, begun, later):
    until = begun + timedelta(days=later)
    missed = missed_tests(window, begun, until)
    assert (missed > 0) == (until > add_months(begun, window.latest))
    assert missed_tests(window, begun, until + timedelta(days=1)) >= missed
