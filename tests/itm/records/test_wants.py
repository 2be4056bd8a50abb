"""What a row wants against what a person typed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from itm.core.errors import Refused
from itm.records.wants import answers, limits, untouched
from itm.schedule.loading import STARTING, read

ROWS = [row for name in STARTING for row in read(name)["rows"] if row["evidence"]]
LEVEL = {"key": "level", "label": "Level", "kind": "number", "unit": "%", "lower": "0",
         "upper": "100"}  # fmt: skip
SEAL = {"key": "seal", "label": "Seal whole", "kind": "yes_no"}
COLOUR = {"key": "colour", "label": "Colour", "kind": "choice", "choices": ["clear", "tinted"]}
NOTE = {"key": "note", "label": "Note", "kind": "text", "optional": True}


def test_a_number_keeps_what_was_typed_beside_its_value():
    [made] = answers([LEVEL], {"level": " 85,5 "})
    assert (made["typed"], made["value"], made["unit"], made["in_order"]) == (
        "85,5", "85.5", "%", True,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "fine"), [("0", True), ("100", True), ("100.01", False), ("-0.5", False)]
)
def test_a_number_beyond_its_limits_is_a_fault_and_no_refusal(typed, fine):
    assert answers([LEVEL], {"level": typed})[0]["in_order"] is fine


def test_no_is_a_fault():
    assert [one["in_order"] for one in answers([SEAL], {"seal": "no"})] == [False]


@pytest.mark.parametrize(
    ("want", "typed", "sentence"),
    [
        (LEVEL, "full", "write one number"),
        (LEVEL, "1,900", "two ways; write 1900 or 1.900"),  # as quantities elsewhere
        (LEVEL, "", "is not answered"),
        (SEAL, "maybe", "answered by yes or no"),
        (COLOUR, "blue", "is one of clear, tinted"),
        (NOTE, "x" * 301, "300 characters are the most"),
    ],
)
def test_what_is_wrong_is_said_at_its_place(want, typed, sentence):
    with pytest.raises(Refused, match=sentence) as refused:
        answers([want], {want["key"]: typed})
    assert refused.value.place == want["key"]


def test_what_is_optional_may_stay_empty():
    assert answers([NOTE], {}) == []


def test_limits_in_words():
    assert limits(LEVEL) == "0 to 100"
    assert limits({"kind": "number", "lower": "1"}) == "at least 1"
    assert limits(SEAL) == ""


def good(want) -> str:
    if want["kind"] == "number":
        return want.get("lower") or want.get("upper") or "1"
    return {"yes_no": "yes", "choice": want.get("choices", [""])[0]}.get(want["kind"], "seen")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["code"])
def test_every_row_can_be_answered_in_order(row):
    made = answers(row["evidence"], {want["key"]: good(want) for want in row["evidence"]})
    assert all(one["in_order"] for one in made)
    assert len(made) == len(row["evidence"])


@given(entered=st.dictionaries(st.sampled_from(["level", "seal", "colour"]), st.text(max_size=40)))
def test_whatever_is_typed_is_taken_or_refused_with_a_sentence(entered):
    refused = made = None
    try:
        made = answers([LEVEL, SEAL, COLOUR], entered)
    except Refused as refusal:
        refused = refusal
    if refused is not None:
        assert refused.sentence.endswith(".")
        assert refused.place in ("level", "seal", "colour")
    else:
        assert made is not None
        assert len(made) == 3
        assert not untouched(entered)
