"""Canonical bytes and digests, against the examples of the standards."""

import json
import struct

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from calc.canonical import canonical_bytes, digest, digest_bytes

# RFC 8785, section 3.2.2 and 3.2.4: input and canonical output (from memory).
RFC_INPUT = r"""
{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}
"""
RFC_OUTPUT = (
    '{"literals":[null,true,false],'
    '"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)


def test_example_of_the_standard_has_its_canonical_bytes():
    assert canonical_bytes(json.loads(RFC_INPUT)) == RFC_OUTPUT.encode()


# RFC 8785, appendix B: doubles by their bits and their text (from memory).
@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555557", "333333333.33333343"),
    ],
)
def test_doubles_are_written_as_the_standard_lists(bits, text):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical_bytes(number) == text.encode()


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(max_size=3), inner),
)


@given(PLAIN)
def test_lists_and_objects_are_put_together_as_by_the_library(form):
    try:
        expected = rfc8785.dumps(form)
    except UnicodeEncodeError:  # half a pair as a key
        with pytest.raises(ValueError):
            canonical_bytes(form)
    else:
        assert canonical_bytes(form) == expected


def test_equal_leaves_of_different_kinds_keep_their_own_text():
    assert canonical_bytes([1.0, True, 1, 0.0, False, -0.0]) == b"[1,true,1,0,false,0]"


def test_digest_is_sha_256():
    # FIPS 180-4 example: the message "abc".
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_bytes(b"abc") == expected


def test_order_of_keys_and_writing_of_numbers_do_not_matter():
    assert digest({"a": 3, "b": 1.50}) == digest({"b": 1.5, "a": 3.0})


def test_what_json_cannot_hold_is_refused():
    with pytest.raises(ValueError):
        canonical_bytes({"a": float("nan")})
    with pytest.raises(ValueError):
        canonical_bytes("\ud800")
