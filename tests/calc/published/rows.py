"""The rows of the reference file: value, tolerance and source stand there, side by side."""

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

FILE = Path(__file__).parents[3] / "fixtures" / "reference" / "check-values.json"
ROWS = {row["id"]: row for row in json.loads(FILE.read_text())}
Cases = dict[str, Callable[[], dict[str, Any]]]

# Entries of a row that the engine does not form, with the reason.
NOT_FORMED = {
    "A-04": ({"b0", "se_b0", "b1", "se_b1", "r_squared"}, "only the quadratic term is needed"),
    "C-06": ({"with_1_116"}, "the rounded multiplier is the slip that the case warns of"),
    "J-05": ({"sieve_um"}, "the mesh of a sieve is part of the laboratory's method, not a limit"),
    "I-02": (
        {"semiannual", "three_year"},
        "no row of the programme comes round every half year or every three years",
    ),
    "C-07": ({"m1_at_25"}, "a solution of 1 mol/kg is not offered: no bench water is that salty"),
}


def inputs(row_id: str) -> dict[str, Any]:
    return ROWS[row_id]["inputs"]


def published(row_ids: Iterable[str]) -> pytest.MarkDecorator:
    """One test a row, named by its id and its source; `test_every_row` counts these marks."""
    named = [pytest.param(i, id=f"{i}: {ROWS[i]['source'][:60]}") for i in row_ids]
    return pytest.mark.parametrize("row_id", named)


def agree(row_id: str, got: dict[str, Any]) -> None:
    """Every entry of the row, within the tolerance that stands beside it."""
    left_out, _reason = NOT_FORMED.get(row_id, (set(), ""))
    assert set(got) == set(ROWS[row_id]["expected"]) - left_out
    for key in got:
        _agrees(ROWS[row_id], key, got[key])


def _agrees(row: dict[str, Any], key: str, got: Any) -> None:
    expected = row["expected"][key]
    tolerance = row["tolerance"].get(key, row["tolerance"])  # one for all, or one for each
    if tolerance == {"days": 0}:  # dates are right or wrong
        assert got == expected, f"{row['id']} {key}"
    elif isinstance(expected, dict):
        assert set(got) == set(expected)
        for inner, value in expected.items():
            assert got[inner] == pytest.approx(value, **tolerance), f"{row['id']} {key} {inner}"
    elif isinstance(expected, list) and isinstance(expected[0], list):
        assert len(got) == len(expected)
        for own, value in zip(got, expected, strict=True):
            assert own == pytest.approx(value, **tolerance), f"{row['id']} {key}"
    else:
        assert got == pytest.approx(expected, **tolerance), f"{row['id']} {key}"
