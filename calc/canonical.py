"""Canonical bytes and digests: the one home for both packages."""

import hashlib
from typing import Any

import rfc8785


def canonical_bytes(form: Any) -> bytes:
    """JSON bytes of a form: sorted keys, shortest numbers, no spaces, UTF-8.

    Raises ValueError (a subclass of it) for what JSON or a double cannot hold.

    Source: RFC 8785. Check: tests/calc/test_canonical.py (examples of the RFC).
    """
    return rfc8785.dumps(form)


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
