"""Into which files the phone cuts what waits: pictures by size, entries where they are needed."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from tests.browser.test_field_line import phone  # noqa: F401

pytestmark = pytest.mark.browser

MB = 1_000_000
ENTRIES = [
    {"key": "bottle", "verb": "add_check_sample"},
    {"key": "look", "verb": "inspect"},
    {"key": "end", "verb": "hand_in_check"},
]


def held(*sizes: tuple[str, int]) -> list[dict[str, Any]]:
    return [{"key": key, "blob": {"size": size}} for key, size in sizes]


def keys(rows: Sequence[dict[str, Any]]) -> list[str]:
    return [row["key"] for row in rows]


def test_the_last_file_hands_in_and_names_the_reports_of_the_others(
    phone: Callable[..., Any],  # noqa: F811
) -> None:
    papers = held(("a", 9 * MB), ("b", 9 * MB), ("huge", 11 * MB))
    photos = held(("p", MB), ("q", 9 * MB))
    [files] = phone("saving", "parts", [ENTRIES, papers, photos, [{"text": "t"}]])
    assert [keys(one["papers"]) for one in files] == [["a"], ["b"], []]
    assert [keys(one["photos"]) for one in files] == [[], ["p"], ["q"]]
    assert [keys(one["entries"]) for one in files] == [["bottle"], [], ["bottle", "look", "end"]]
    assert [one["elsewhere"] for one in files] == [[], [], ["a", "b", "huge"]]
    assert [len(one["typed"]) for one in files] == [1, 0, 0]


def test_what_fits_is_one_file_with_everything(phone: Callable[..., Any]) -> None:  # noqa: F811
    [files] = phone("saving", "parts", [ENTRIES, held(("a", MB)), held(("p", MB)), []])
    assert [keys(one["entries"]) for one in files] == [keys(ENTRIES)]
    assert files[0]["elsewhere"] == []
