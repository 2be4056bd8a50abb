"""How dates, duties and standings go wrong over the years: each slip of our own list has its test.

The numbers are those of that list, 40 to 51; that they are met is common practice, no published
source. A test that is renamed or lost fails here.
"""

import ast
from pathlib import Path

import pytest

# Number: (what goes wrong, module under tests/itm or tests/doors, the test that shows it).
SLIPS = {
    40: ("a missed window vanishes with the next test", "itm/schedule/test_chains.py",
         "test_a_window_missed_stays_visible_after_the_next_is_done"),
    41: ("done too early to please a budget", "itm/schedule/test_chains.py",
         "test_a_duty_done_too_early_stays_open"),
    42: ("the due date creeps inside its windows", "itm/web/test_duties.py",
         "test_a_due_date_that_wanders_inside_its_windows_is_shown"),
    43: ("the server's date for the site's", "itm/schedule/test_clocks.py",
         "test_new_years_eve_at_the_site_is_not_the_servers"),
    44: ("a phone's clock is wrong", "doors/test_entries.py",
         "test_a_wrong_clock_is_kept_and_never_corrected"),
    45: ("a ship judged by the windows of the land", "itm/schedule/test_due.py",
         "test_without_room_the_duty_is_overdue_the_day_after_its_interval"),
    46: ("a failure stays open for years, or closes without a record", "itm/schedule/test_due.py",
         "test_law_a_retest_is_open_exactly_while_the_latest_result_does_not_prove"),
    47: ("only the pass after the repair is kept", "itm/trends/test_queries.py",
         "test_as_left_stands_apart_and_its_adjustment_is_an_event"),
    48: ("a valve is left shut after the test", "itm/actions/test_main_job.py",
         "test_nothing_is_handed_in_while_a_restoration_line_is_open"),
    49: ("an impairment closed by the office, or told to nobody",
         "itm/records/test_services_discharge.py",
         "test_line_left_out_says_why_and_to_whom_and_keeps_the_impairment_open"),
    50: ("old verdicts change with a new edition", "itm/records/test_services.py",
         "test_band_and_rule_are_frozen_at_prepare"),
    51: ("a 1 % proportioner tested as 3 % after a change of concentrate",
         "itm/web/test_remarks.py",
         "test_lot_of_another_nominal_percent_is_remarked_upon"),
}  # fmt: skip

# What nobody can have meant: (what, module, test). It is refused with a sentence, and the database
# refuses it past the services.
BAD_INPUT = [
    ("a fill onto a fill", "itm/web/test_concentrate.py", "test_impossible_movement_is_refused"),
    ("a fill onto a fill, past the services", "itm/registry/test_movement_constraints.py",
     "test_a_book_that_does_not_hold_together_is_not_closed"),
    ("more than a tank holds", "itm/web/test_concentrate.py",
     "test_impossible_movement_is_refused"),
    ("a movement past the book of its tank", "itm/registry/test_movement_constraints.py",
     "test_no_movement_goes_past_the_book"),
    ("a day before the tank stood there", "itm/web/test_concentrate.py",
     "test_tank_was_not_installed_after_it_was_filled"),
    ("retired before it began", "itm/registry/test_days_in_order.py",
     "test_nothing_is_retired_before_it_began"),
    ("a store below zero", "itm/registry/test_stores.py",
     "test_more_than_there_is_refused_over_the_whole_book"),
    ("a store below zero, past the services", "itm/registry/test_stores.py",
     "test_database_itself_refuses_it"),
    ("an interval of zero, a window wider than it", "itm/schedule/test_adopting.py",
     "test_bad_windows_are_refused_with_a_sentence_and_by_the_database"),
    ("a time zone that does not exist", "itm/registry/test_days_in_order.py",
     "test_a_time_zone_that_does_not_exist_is_refused"),
]  # fmt: skip

NAMED = [(module, test) for _, module, test in (*SLIPS.values(), *BAD_INPUT)]


@pytest.mark.parametrize(("module", "test"), sorted(set(NAMED)))
def test_each_slip_has_its_test(root: Path, module: str, test: str) -> None:
    tree = ast.parse((root / "tests" / module).read_text(encoding="utf-8"))
    assert test in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_no_slip_of_the_list_is_passed_over() -> None:
    assert sorted(SLIPS) == list(range(40, 52))
