"""No slip of the list loses its test: one that is renamed or gone fails here."""

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.structure import slips_at_the_bench, slips_over_the_years
from tests.structure.slips_over_the_years import OUT_OF_REACH

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

PARTS = {**slips_at_the_bench.SLIPS, **slips_over_the_years.SLIPS}
CAUGHT = {slip: tests for part in PARTS.values() for slip, tests in part.items()}


@cache
def functions_of(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("slip", CAUGHT)
def test_each_slip_has_its_tests(root: Path, slip: str) -> None:
    named = [test.split("::") for test in CAUGHT[slip]]
    assert named
    gone = [name for module, name in named if name not in functions_of(root / "tests" / module)]
    assert not gone


@pytest.mark.parametrize(("module", "test"), sorted({(m, t) for _, m, t in BAD_INPUT}))
def test_what_nobody_can_have_meant_has_its_test(root: Path, module: str, test: str) -> None:
    assert test in functions_of(root / "tests" / module)


def test_what_is_out_of_reach_is_said_to_developers_with_its_reason(root: Path) -> None:
    """And nothing stands in both lists."""
    guide = " ".join((root / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    assert not set(OUT_OF_REACH) & set(CAUGHT)
    assert [slip for slip in OUT_OF_REACH if slip not in guide] == []
