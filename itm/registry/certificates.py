"""Certificates of instruments: which one is in force on a day, and the writes."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.registry.models import Certificate, Instrument
from itm.registry.services import keep, require_own


def in_force(certificates: Iterable[Certificate], on: date) -> Certificate | None:
    """The latest calibration that had taken place by that day, whether or not it had run out.

    One without its day of issue comes from older papers: it counts until one with a day follows.
    """
    known = [
        one
        for one in certificates
        if not one.withdrawn_because and (one.issued_on is None or one.issued_on <= on)
    ]
    return max(known, key=lambda one: (one.issued_on or date.min, one.pk), default=None)


def certificate_on(instrument: Instrument, on: date) -> Certificate | None:
    """Who reads the instrument, or a record that names it, reads its certificates."""
    return in_force(instrument.certificates.all(), on)


def ran_out(certificate: Certificate | None, on: date) -> bool:
    """The day it is due still counts."""
    return certificate is not None and certificate.due_on is not None and certificate.due_on < on


def add_certificate(
    *, actor: Actor, instrument: Instrument, today: date, **values: Any
) -> Certificate:  # fmt: skip
    """Refused day_ahead."""
    require_own(actor, instrument, "add a certificate of an instrument")
    return _keep(Certificate(instrument=instrument), values, actor, today)


def change_certificate(
    *, actor: Actor, certificate: Certificate, today: date, **values: Any
) -> Certificate:  # fmt: skip
    """Puts a slip right; the history keeps what stood there, sealed records keep their own copy."""
    require_own(actor, certificate.instrument, "change a certificate of an instrument")
    if certificate.withdrawn_because:
        raise Conflict("This certificate was withdrawn a moment before you.")
    return _keep(certificate, values, actor, today)


def withdraw_certificate(
    *, actor: Actor, certificate: Certificate, because: str
) -> Certificate:  # fmt: skip
    """Entered by mistake, for example at the wrong instrument. Refused because_missing."""
    require_own(actor, certificate.instrument, "withdraw a certificate of an instrument")
    if not because.strip():
        raise Refused("because_missing", "Say what is wrong with it.", "because")
    values = {"withdrawn_because": because.strip()}
    return keep(certificate, values, by=actor, verb="withdrawn")


def _keep(row: Certificate, values: dict[str, Any], actor: Actor, today: date) -> Certificate:
    issued_on = values.get("issued_on")
    if issued_on is not None and issued_on > today:
        raise Refused("day_ahead", "This day has not come yet.", "issued_on")
    return keep(row, values, by=actor)
