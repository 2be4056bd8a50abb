"""No slip of the list is passed over: each has a test that shows it, or a reason why none can."""

from importlib import import_module
from pathlib import Path

from tests.calc.pitfalls.catalogue import ALL, NOT_SEEN

ROOT = Path(__file__).parents[3]


def shown() -> set[int]:
    modules = (ROOT / "tests" / "calc").rglob("test_*.py")
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in modules]
    values = [value for name in names for value in vars(import_module(name)).values()]
    return {number for value in values for number in getattr(value, "pitfalls", ())}


def test_every_slip_is_shown_by_a_test_or_listed_with_a_reason():
    assert shown() | set(NOT_SEEN) == ALL
    assert shown() & set(NOT_SEEN) == set()
