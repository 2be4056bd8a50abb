"""A second step at signing in: turned on, renewed and ended by its person."""

import secrets
from base64 import b32encode
from datetime import datetime

import pyotp
from django.db import transaction

from itm.accounts import codes, proving
from itm.accounts.actor import Actor
from itm.accounts.digests import digest_of
from itm.accounts.models import RecoveryCode, SecondFactor, User
from itm.accounts.told import tell
from itm.core import history
from itm.core.errors import Forbidden, Refused
from itm.core.history import Author

CODES = 10  # on paper; own choice
ISSUER = "Foam ITM"


@transaction.atomic
def begin(*, actor: Actor, at: datetime) -> SecondFactor:
    """A secret that counts for nothing until a code of it was typed. May run twice: the secret
    stays, so that a device that has it need not read it again.

    Raises Forbidden; Refused proof_needed, is_on.
    """
    user = _person(actor)
    proving.require(actor)
    row = SecondFactor.objects.select_for_update().filter(user=user).first()
    if row is not None and row.confirmed_at is not None:
        raise Refused("is_on", "The second step is on already: end it first for another device.")
    return row or SecondFactor.objects.create(user=user, secret=pyotp.random_base32(), begun_at=at)


def begun(actor: Actor) -> SecondFactor | None:
    """What waits for its first code."""
    return SecondFactor.objects.filter(user=_person(actor), confirmed_at=None).first()


def address(row: SecondFactor) -> str:
    """What the device reads from the QR code, in the form that such devices agree on."""
    return pyotp.TOTP(row.secret).provisioning_uri(name=row.user.email, issuer_name=ISSUER)


@transaction.atomic
def confirm(*, actor: Actor, code: str, at: datetime) -> list[str]:
    """Turns it on, and gives the codes on paper, this once.

    Raises Forbidden; Refused proof_needed, not_begun, code_wrong.
    """
    user = _person(actor)
    proving.require(actor)
    row = SecondFactor.objects.select_for_update().filter(user=user, confirmed_at=None).first()
    if row is None:
        raise Refused("not_begun", "There is nothing to confirm: begin anew.")
    if not codes.is_of_device(row, codes.plain_of(code), at):
        raise Refused(
            "code_wrong",
            "This code does not fit. Take the one that the device shows now, and look whether its "
            "clock is right.", "code",
        )  # fmt: skip
    row.refresh_from_db()
    row.confirmed_at = at
    row.save()
    history.note(actor, "second step on", of=user)
    tell(user, "second_step_on")
    return _new_codes(row)


@transaction.atomic
def new_codes(*, actor: Actor) -> list[str]:
    """Ends the codes on paper and gives others. Raises Forbidden; Refused proof_needed, is_off."""
    user = _person(actor)
    proving.require(actor)
    row = SecondFactor.objects.select_for_update().filter(pk=_on(user).pk).get()
    row.codes.all().delete()
    history.note(actor, "new recovery codes", of=user)
    return _new_codes(row)


def end(*, actor: Actor) -> None:
    """Raises Forbidden; Refused proof_needed, is_off."""
    user = _person(actor)
    proving.require(actor)
    lift(by=actor, user=user)


@transaction.atomic
def lift(*, by: Author, user: User) -> None:
    """By the person itself, or by whoever runs the installation, when device and paper are lost.
    Raises Refused is_off."""
    _on(user).delete()
    history.note(by, "second step off", of=user)
    tell(user, "second_step_off")


def _new_codes(row: SecondFactor) -> list[str]:
    made = [b32encode(secrets.token_bytes(10)).decode() for _ in range(CODES)]
    RecoveryCode.objects.bulk_create(RecoveryCode(factor=row, digest=digest_of(m)) for m in made)
    return ["-".join(one[i : i + 4] for i in range(0, 16, 4)) for one in made]


def _on(user: User) -> SecondFactor:
    row = codes.of(user)
    if row is None:
        raise Refused("is_off", "The second step is off.")
    return row


def _person(actor: Actor) -> User:
    if actor.user is None:
        raise Forbidden("Only a person has a second step at signing in.")
    return actor.user
