"""Lengths of time as typed. The two readings of 2.30: common practice, no published source."""

import pytest

from itm.core.durations import duration, in_words
from itm.core.errors import Refused


@pytest.mark.parametrize(
    ("typed", "seconds", "words"),
    [
        ("2:30", 150, "2 minutes 30 seconds"),
        ("1:02:30", 3750, "1 hour 2 minutes 30 seconds"),
        ("150 s", 150, "2 minutes 30 seconds"),
        (" 61,5 s ", 61.5, "1 minute 1.5 seconds"),
        ("90:00", 5400, "1 hour 30 minutes"),
        ("0:01", 1, "1 second"),
    ],
)
def test_it_is_kept_as_typed_and_said_back_in_words(typed, seconds, words):
    found = duration(typed)
    assert (found.si, found.typed, in_words(found.si)) == (seconds, typed.strip(), words)


@pytest.mark.parametrize(
    "typed", ["2.30", "2,5", "150", "2:60", "1:75:00", "0:00", "a while", "-5 s"]
)
def test_what_can_be_read_in_two_ways_is_asked(typed):
    with pytest.raises(Refused) as refused:
        duration(typed)
    assert "2:30" in refused.value.sentence or refused.value.code == "not_a_number"
