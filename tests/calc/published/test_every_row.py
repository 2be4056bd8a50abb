"""No published value is passed over: each row of the file has one test, and only one."""

from collections import Counter
from importlib import import_module
from pathlib import Path

from tests.calc.published.rows import NOT_FORMED, ROWS

MODULES = [
    *(f"tests.calc.published.{path.stem}" for path in Path(__file__).parent.glob("test_*.py")),
    "tests.itm.schedule.test_published_dates",
]


def rows_of_tests() -> list[str]:
    """The row of every parametrised test, read from the marks that pytest itself reads."""
    functions = [
        value
        for name in MODULES
        for own, value in vars(import_module(name)).items()
        if own.startswith("test_")
    ]
    marks = [mark for function in functions for mark in getattr(function, "pytestmark", [])]
    return [
        case.values[0]
        for mark in marks
        if mark.name == "parametrize" and mark.args[0] == "row_id"
        for case in mark.args[1]
    ]


def test_every_published_value_has_one_test():
    claims = Counter(rows_of_tests())
    assert set(claims) == set(ROWS)
    assert [row_id for row_id, times in claims.items() if times > 1] == []


def test_parts_left_out_really_stand_in_the_file():
    for row_id, (left_out, reason) in NOT_FORMED.items():
        assert left_out < set(ROWS[row_id]["expected"]), reason
