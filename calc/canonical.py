"""Canonical bytes and digests: the one home for both packages."""

import hashlib
from functools import lru_cache
from typing import Any

import rfc8785

REMEMBERED = 1 << 14  # keys, names and numbers, own choice: a bench repeats most of them
LONGEST_REMEMBERED = 64  # characters, own choice: what is longer is seldom said twice


def canonical_bytes(form: Any) -> bytes:
    """JSON bytes of a form: sorted keys, shortest numbers, no spaces, UTF-8.

    Raises ValueError (a subclass of it) for what JSON or a double cannot hold.
    Notes: the library writes every leaf, and only lists and objects are put together here, since
    it takes longer over one form than the whole evaluation does.

    Source: RFC 8785. Check: tests/calc/test_canonical.py (examples of the RFC, and the library).
    """
    return _text(form).encode()


def _text(value: Any) -> str:
    kind = type(value)
    if kind is float or (kind is str and len(value) <= LONGEST_REMEMBERED):
        return _leaf(value)
    if kind is dict and all(type(key) is str and key.isascii() for key in value):
        # Other keys go by UTF-16, in which order the library knows how to put them.
        return "{" + ",".join([f"{_text(key)}:{_text(value[key])}" for key in sorted(value)]) + "}"
    if kind is list or kind is tuple:
        return "[" + ",".join(map(_text, value)) + "]"
    return rfc8785.dumps(value).decode()


@lru_cache(REMEMBERED, typed=True)
def _leaf(value: float | str) -> str:
    return rfc8785.dumps(value).decode()


def digest_bytes(data: bytes) -> str:
    """SHA-256 of bytes, 64 lower-case hexadecimal digits.

    Source: FIPS 180-4. Check: tests/calc/test_canonical.py.
    """
    return hashlib.sha256(data).hexdigest()


def digest(form: Any) -> str:
    """SHA-256 over the canonical bytes of a form.

    Source: RFC 8785 and FIPS 180-4. Check: tests/calc/test_canonical.py.
    """
    return digest_bytes(canonical_bytes(form))
