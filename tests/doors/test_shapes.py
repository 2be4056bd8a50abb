"""What is no entry, or holds what cannot be one, comes back with its place and a sentence."""

import pytest

from itm.core.errors import Refused
from itm.doors.entries import MOST_ENTRIES, take
from tests.doors.phone import MORNING, run_of


@pytest.mark.parametrize(
    ("change", "code", "place"),
    [
        ({"key": "17"}, "bad_entry", "key"),
        ({"key": None}, "bad_entry", "key"),
        ({"verb": "delete_site"}, "unknown_verb", "verb"),
        ({"verb": ""}, "bad_entry", "verb"),
        ({"of": {}}, "bad_entry", "of"),
        ({"of": {"run": "x"}}, "bad_entry", "of/run"),
        ({"of": ["run"]}, "bad_entry", "of"),
        ({"put": {"level_before": 900}}, "not_text", "level_before"),
        ({"put": {"level_before": "900"}}, "unit_missing", "level_before"),
        ({"put": {"level_before": "900 gal"}}, "unit_missing", "level_before"),
        ({"put": {"level_before": "1,900 L"}}, "ambiguous_comma", "level_before"),
        ({"put": {"level_before": "nine L"}}, "not_a_number", "level_before"),
        ({"put": {"level_before": "9" * 30 + " L"}}, "not_a_number", "level_before"),
        ({"put": {"level_before": "-5 L"}}, "negative_level", "level_before"),
        ({"put": {"level_before": ["900 L"]}}, "not_a_list", "level_before"),
        ({"put": {"flow_source": "guess"}}, "invalid_choice", "flow_source"),
        ({"put": {"colour": "red"}}, "unknown_field", "colour"),
        ({"put": {"level_before": "9\x0000 L"}}, "bad_character", "level_before"),
        ({"put": {"level_before": "9" * 3000}}, "too_long", "level_before"),
        ({"at": "2026-06-15T10:00:00"}, "time_without_zone", "at"),
        ({"at": "yesterday"}, "bad_entry", "at"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "bad_entry", "at"),
        ({"more": 1}, "bad_entry", ""),
    ],
)
def test_a_bad_entry_comes_back_with_its_place(draft, phone, change, code, place):
    raw = phone.note("note_run", {"run": run_of(draft).key}, {"level_before": "900 L"})
    bad, good = phone.send([{**raw, **change}, raw])
    assert (bad.state, bad.code, bad.place) == ("refused", code, place)
    assert bad.sentence.endswith((".", "”"))
    assert good.state == "taken"


@pytest.mark.parametrize("raw", [None, 7, "x", [], {}])
def test_what_is_no_entry_is_refused_as_one(draft, phone, raw):
    [answer] = phone.send([raw])
    assert (answer.state, answer.code) == ("refused", "bad_entry")


def test_more_than_a_day_at_once_is_refused(draft, phone):
    with pytest.raises(Refused) as refusal:
        take(actor=phone.actor, entries=[{}] * (MOST_ENTRIES + 1), device_now=None, at=MORNING)
    assert refusal.value.code == "too_many"
