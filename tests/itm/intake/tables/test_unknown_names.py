"""Thousands of names that nobody knows cost no more searching than somebody reads of."""

import difflib

import pytest

from itm.intake.tables import known
from itm.intake.tables.known import MOST_SEARCHED, Known
from tests.itm.intake.tables.files import Looked, text_file


@pytest.fixture
def searches(monkeypatch):
    made = []
    search = difflib.get_close_matches

    def counted(word, *rest, **more):
        made.append(word)
        return search(word, *rest, **more)

    monkeypatch.setattr(known.difflib, "get_close_matches", counted)
    return made


def test_many_unknown_names_are_searched_for_once_and_no_more_than_are_asked(tmp_path, searches):
    count = 3 * MOST_SEARCHED
    lines = "".join(f"XR-{n:04d};2012-05-14;3.1\n" for n in range(count))
    path = text_file(tmp_path, f"tag;date;percent\n{lines}")
    found = Looked(path, known={"tag": Known("tag", [f"PR-{n:04d}" for n in range(500)])})
    assert found.reader.told.count == count  # each is told or counted, near to a known one or not
    assert len(searches) == len(set(searches)) == MOST_SEARCHED


def test_a_name_that_may_be_new_is_searched_for_however_many_there_are(searches):
    """Else one that is nearly known would become another lot without a word."""
    lots = Known("lot", ["2E05", "A-117"], free=True)
    for n in range(MOST_SEARCHED + 5):
        assert lots.read(f"{n}-zz").code == ""
    assert lots.read("A-1177").code == "unknown_name"
    assert lots.offers("A-1177") == ["A-117"]
    assert len(searches) == MOST_SEARCHED + 6
