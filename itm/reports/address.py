"""The public address of a sealed record: its digest, and what opens it.

A digest gets about: every report and every sealed record names the one before it, which may be of
another system and another contractor. So a digest alone is only confirmed; what a record says opens
to who has its report, which prints sixteen characters more. They follow from the sealed bytes and
not from the digest, so nobody has to keep them and no key of the server can be lost.
"""

from hashlib import sha256

from django.conf import settings
from django.urls import reverse

from itm.records.models import Seal

OPENS = 16  # characters: nobody guesses 64 bits over the net; own choice


def opens(document: bytes) -> str:
    return sha256(b"opens the record\n" + document).hexdigest()[:OPENS]


def check_path(seal: Seal) -> str:
    return reverse("verify_opened", args=[seal.digest, opens(bytes(seal.document))])


def verify_address(seal: Seal) -> str:
    """Behind the QR code."""
    return f"{settings.PUBLIC_URL}{check_path(seal)}"
