"""Rules that change, events and days: laws for any history, and the pitfalls that fall here."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from itm.core.clock import add_months
from itm.schedule.chains import Claim, Segment, chained, event_cycles, once_cycle, segments
from itm.schedule.due import Result, Window, creep, in_order, missed_tests, periodic_cycles

LAND = Window(9, 12, 15)
SHIP = Window(0, 12, 12)
MONTHLY = Window(1, 1, 1, "calendar_months")
WEEKLY = Window(1, 1, 1, "calendar_weeks")
DAILY = Window(0, 1, 1, "days")
WINDOWS = [LAND, SHIP, MONTHLY, WEEKLY, DAILY, Window(54, 60, 66), Window(2, 3, 4)]
LONG_AGO = date(2000, 1, 1)

days = st.dates(date(2015, 1, 1), date(2032, 12, 31))
histories = st.lists(days, max_size=25)
windows = st.sampled_from(WINDOWS)


def done(*on: date) -> list[Result]:
    return in_order(
        [Result(day, "in band", "settled", "periodic", "as_found", uuid4()) for day in on]
    )


def only(window: Window) -> list[Segment]:
    return [Segment(LONG_AGO, "rule", window)]


# Calendar weeks and months ----------------------------------------------------------------------


def test_once_a_month_is_any_day_of_each_month():
    """NFPA 25 (2020) 3.7: monthly means once in the calendar month (looked up, second-hand)."""
    [(_, made)] = chained(only(MONTHLY), date(2026, 1, 31), [], from_adoption=False)
    assert (made.window_opens_on, made.latest_on) == (date(2026, 2, 1), date(2026, 2, 28))
    assert made.due_on == date(2026, 2, 28)


def test_the_day_after_a_month_end_is_the_next_month():
    history = done(date(2026, 3, 31), date(2026, 4, 1))
    made = chained(only(MONTHLY), date(2026, 2, 10), history, from_adoption=False)
    assert [cycle.done_on for _, cycle in made] == [date(2026, 3, 31), date(2026, 4, 1), None]


def test_twice_in_one_month_counts_once():
    history = done(date(2026, 3, 2), date(2026, 3, 30))
    made = chained(only(MONTHLY), date(2026, 2, 10), history, from_adoption=False)
    assert [cycle.done_on for _, cycle in made] == [date(2026, 3, 2), None]


def test_weeks_run_from_monday_to_sunday_across_the_year():
    """ISO 8601-1:2019: week 1 of 2026 begins on Monday 29 December 2025."""
    [(_, made)] = chained(only(WEEKLY), date(2025, 12, 25), [], from_adoption=False)
    assert made.window_opens_on.isocalendar()[:2] == (2026, 1)
    assert (made.window_opens_on, made.latest_on) == (date(2025, 12, 29), date(2026, 1, 4))


@given(day=days)
def test_the_next_window_begins_where_the_calendar_says(day):
    week, month = WEEKLY.opens(day), MONTHLY.opens(day)
    assert week.isoweekday() == 1
    assert day < week <= day + timedelta(days=7)
    assert (month.day, month > day) == (1, True)
    assert MONTHLY.closes(day) == add_months(month, 1) - timedelta(days=1)


@given(window=windows, day=days)
def test_every_window_is_in_order_and_no_wider_than_its_interval(window, day):
    assert window.opens(day) <= window.due(day) <= window.closes(day)
    assert window.closes(day) >= day + timedelta(days=1)


@given(window=windows, day=days, until=days)
def test_a_gap_swallows_one_for_each_latest_day_that_passed(window, day, until):
    count = missed_tests(window, day, until)
    assert (count == 0) == (until <= window.closes(day))


# One rule ---------------------------------------------------------------------------------------


@given(window=windows, begun=days, history=histories)
def test_a_chain_of_one_rule_is_the_plain_rule(window, begun, history):
    results = done(*history)
    made = chained(only(window), begun, results, from_adoption=False)
    assert [cycle for _, cycle in made] == periodic_cycles(window, begun, results)


@given(window=windows, begun=days, history=histories, seed=st.randoms())
def test_the_order_of_arrival_says_nothing(window, begun, history, seed):
    """Pitfalls, part D: records in the wrong order count in the order of performance."""
    shuffled = list(history)
    seed.shuffle(shuffled)
    made = [
        chained(only(window), begun, done(*h), from_adoption=False) for h in (history, shuffled)
    ]
    assert [c.done_on for _, c in made[0]] == [c.done_on for _, c in made[1]]


@given(window=windows, begun=days, history=histories)
def test_one_cycle_is_open_and_each_begins_where_the_last_was_done(window, begun, history):
    made = [c for _, c in chained(only(window), begun, done(*history), from_adoption=False)]
    assert [cycle.done_on is None for cycle in made] == [False] * (len(made) - 1) + [True]
    assert [cycle.counts_from for cycle in made[1:]] == [cycle.done_on for cycle in made[:-1]]


@given(window=windows, begun=days, history=histories, late=days)
def test_a_backdated_record_never_makes_a_duty_later_than_without_it_was_done(
    window, begun, history, late
):
    """One more record can complete more, never less."""
    before = chained(only(window), begun, done(*history), from_adoption=False)
    after = chained(only(window), begun, done(*history, late), from_adoption=False)
    assert len(after) >= len(before) - 1


# Part D of the pitfalls -------------------------------------------------------------------------


def test_a_duty_done_too_early_stays_open():
    """41. Month 7 of a yearly duty. Common practice, no published source."""
    [(_, made)] = chained(only(LAND), date(2025, 1, 1), done(date(2025, 8, 1)), from_adoption=False)
    assert made.done_on is None
    assert made.latest_on == date(2026, 4, 1)


def test_a_window_missed_stays_visible_after_the_next_is_done():
    """40. Done in month 16: that cycle keeps its latest day, which its day of work is after."""
    history = done(date(2026, 5, 1), date(2027, 5, 1))
    made = [c for _, c in chained(only(LAND), date(2025, 1, 1), history, from_adoption=False)]
    assert [cycle.done_on is not None and cycle.done_on > cycle.latest_on for cycle in made] == [
        True, False, False,
    ]  # fmt: skip


def test_due_creep_shows_in_the_spacings():
    """42. Fourteen months each time, all inside the window: eight tests in ten years."""
    begun, history = date(2016, 1, 1), []
    while not history or history[-1] < date(2026, 1, 1):
        history.append(add_months(history[-1] if history else begun, 14))
    made = [c for _, c in chained(only(LAND), begun, done(*history), from_adoption=False)]
    made = [c for c in made if c.done_on and c.done_on <= date(2026, 1, 1)]
    assert all(c.done_on <= c.latest_on for c in made)
    shown = creep(LAND, [(c.counts_from, c.done_on) for c in made])
    assert (shown.done, shown.intervals, shown.lost) == (8, 9, 1)


def test_as_left_completes_with_as_found_and_hides_nothing():
    """47. Both results of one day: the cycle is ended by the first, as found."""
    day = date(2026, 3, 1)
    left = Result(day, "in band", "settled", "periodic", "as_left", uuid4())
    found = Result(day, "lean", "settled", "periodic", "as_found", uuid4())
    made = chained(only(LAND), date(2025, 3, 1), in_order([left, found]), from_adoption=False)
    assert made[0][1].done_by == found.key
    assert len(made) == 2


def test_the_window_is_the_rows_and_no_global_setting():
    """45. A ship under its own rule has no room where land has three months."""
    begun = date(2025, 1, 31)
    land, ship = (
        chained(only(window), begun, [], from_adoption=False)[0][1] for window in (LAND, SHIP)
    )
    assert (land.latest_on, ship.latest_on) == (date(2026, 4, 30), date(2026, 1, 31))


# Rules that change ------------------------------------------------------------------------------


def test_a_new_edition_takes_over_the_open_cycle_and_leaves_the_done_one():
    parts = [Segment(LONG_AGO, "old", LAND), Segment(date(2026, 6, 1), "new", SHIP)]
    history = done(date(2025, 12, 1))
    made = chained(parts, date(2024, 12, 1), history, from_adoption=False)
    assert [(rule, cycle.done_on) for rule, cycle in made] == [
        ("old", date(2025, 12, 1)),
        ("new", None),
    ]
    assert made[-1][1].latest_on == date(2026, 12, 1)


def test_what_was_missed_under_an_edition_stays_its_miss():
    parts = [Segment(LONG_AGO, "old", SHIP), Segment(date(2026, 6, 1), "new", LAND)]
    made = chained(parts, date(2025, 1, 1), done(date(2026, 7, 1)), from_adoption=False)
    assert [rule for rule, _ in made] == ["old", "new"]
    assert made[0][1].latest_on == date(2026, 1, 1)
    assert made[0][1].done_on == date(2026, 7, 1)


def test_nobody_is_late_for_what_nobody_asked():
    parts = [Segment(date(2026, 6, 15), "rule", MONTHLY)]
    [(_, made)] = chained(parts, date(2018, 3, 1), [], from_adoption=True)
    assert (made.counts_from, made.latest_on) == (date(2026, 6, 15), date(2026, 7, 31))


def test_after_the_end_nothing_is_open():
    parts = [Segment(date(2026, 1, 1), "rule", MONTHLY), Segment(date(2026, 4, 1))]
    history = done(date(2026, 2, 3), date(2026, 5, 5))
    made = chained(parts, date(2018, 3, 1), history, from_adoption=True)
    assert [(cycle.counts_from, cycle.done_on) for _, cycle in made] == [
        (date(2026, 1, 1), date(2026, 2, 3))
    ]


def test_adopted_again_it_counts_from_the_last_work_known():
    parts = segments(
        [
            Claim(date(2025, 1, 1), date(2025, 12, 31), 1, "rule", SHIP),
            Claim(date(2026, 3, 1), None, 1, "rule", SHIP),
        ]
    )
    made = chained(parts, date(2018, 1, 1), done(date(2025, 10, 1)), from_adoption=True)
    assert [cycle.counts_from for _, cycle in made] == [date(2025, 1, 1), date(2025, 10, 1)]


def test_the_higher_rank_holds_while_it_lasts():
    parts = segments(
        [
            Claim(date(2024, 1, 1), None, 0, "authority", LAND),
            Claim(date(2025, 1, 1), date(2025, 12, 31), 2, "owner", SHIP),
        ]
    )
    assert [(part.starts_on, part.rule) for part in parts] == [
        (date(2024, 1, 1), "authority"),
        (date(2025, 1, 1), "owner"),
        (date(2026, 1, 1), "authority"),
    ]


claims = st.lists(
    st.builds(
        lambda start, length, rank, rule, window: Claim(
            start, None if length is None else start + timedelta(days=length), rank, rule, window
        ),
        days,
        st.none() | st.integers(0, 2000),
        st.integers(0, 2),
        st.sampled_from("abc"),
        st.none() | windows,
    ),
    max_size=5,
)


@given(held=claims, begun=days, history=histories, since=st.booleans())
def test_under_any_adoptions_a_work_completes_one_cycle_at_most(held, begun, history, since):
    made = chained(segments(held), begun, done(*history), from_adoption=since)
    keys = [cycle.done_by for _, cycle in made if cycle.done_by]
    assert len(keys) == len(set(keys))
    assert sum(cycle.done_on is None for _, cycle in made) <= 1
    for _, cycle in made:
        assert cycle.window_opens_on <= cycle.due_on <= cycle.latest_on
        assert cycle.counts_from >= begun
        assert cycle.done_on is None or cycle.done_on > cycle.counts_from


@given(held=claims, day=days)
def test_on_every_day_the_winning_claim_rules(held, day):
    there = [c for c in held if c.starts_on <= day and (c.ends_on is None or day <= c.ends_on)]
    ruling = [part for part in segments(held) if part.starts_on <= day]
    rule = ruling[-1].rule if ruling else None
    best = max(((c.rank, c.starts_on) for c in there), default=None)
    assert rule in {c.rule for c in there if (c.rank, c.starts_on) == best} or rule is best is None


# Events and days --------------------------------------------------------------------------------


def test_an_event_asks_once_and_is_answered_on_its_day_or_after():
    day = date(2026, 5, 1)
    [made] = event_cycles([day], 7, done(day))
    assert (made.cause, made.done_on, made.latest_on) == ("event", day, date(2026, 5, 8))
    [still] = event_cycles([day], 7, done(day - timedelta(days=1)))
    assert still.done_on is None


def test_one_answer_covers_what_came_before_it():
    happened = [date(2026, 5, 1), date(2026, 5, 3), date(2026, 5, 20)]
    made = event_cycles(happened, 7, done(date(2026, 5, 4)))
    assert [(cycle.counts_from, cycle.done_on) for cycle in made] == [
        (date(2026, 5, 1), date(2026, 5, 4)),
        (date(2026, 5, 20), None),
    ]


def test_what_comes_before_an_event_is_due_before_it():
    """UFGS 13957N 3.8.3: the plan is there 15 days before a flow test."""
    [made] = event_cycles([date(2026, 5, 31)], -15, [])
    assert (made.due_on, made.latest_on) == (date(2026, 5, 16), date(2026, 5, 16))
    assert made.window_opens_on < made.due_on


@given(happened=st.lists(days, max_size=12), history=histories, within=st.integers(-20, 60))
def test_events_leave_one_open_at_most_and_nothing_unanswered_is_lost(happened, history, within):
    made = event_cycles(happened, within, done(*history))
    assert sum(cycle.done_on is None for cycle in made) <= 1
    for day in happened:
        assert any(
            cycle.counts_from <= day and (cycle.done_on is None or cycle.done_on >= day)
            for cycle in made
        ) or any(cycle.done_on is not None and cycle.counts_from == day for cycle in made), day


@pytest.mark.parametrize(
    ("asked", "by"), [((2026, 1, 1), (2026, 10, 23)), ((2027, 1, 1), (2026, 10, 23))]
)
def test_a_day_named_by_the_rule_stands_however_late_it_was_adopted(asked, by):
    made = once_cycle(date(*asked), date(*by), [])
    assert made.latest_on == date(*by)
    assert made.window_opens_on <= made.due_on
