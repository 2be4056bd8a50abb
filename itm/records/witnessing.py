"""Somebody from an authority was there, and signs for that beside the sealed record.

The signature says who saw what of which bytes; it judges nothing and changes no result.
"""

import uuid
from collections.abc import Iterator, Sequence
from datetime import date, datetime

from django.db import IntegrityError, transaction

from calc.canonical import digest
from itm.accounts import proving
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.core.valid import require_valid
from itm.core.withdrawing import struck
from itm.records.facts import instant
from itm.records.models import ProportioningTest, Record, Seal, Witness
from itm.records.models.kept import on
from itm.registry.access import require_authority

FORM = 1  # of what its digest is taken over; changed only by another number


def said(row: Witness) -> dict[str, object]:
    """Everything that the signature says, by value."""
    return {
        "form": FORM,
        "key": str(row.key),
        "record": row.seal.digest,
        "for": row.organisation.name,
        "name": row.name,
        "qualification": row.qualification,
        "number": row.number,
        "saw": list(row.saw),
        "remark": row.remark,
        "present_on": row.present_on.isoformat(),
        "signed_at": instant(row.signed_at),
    }


def day_of(record: Record) -> date:
    return record.tested_on if isinstance(record, ProportioningTest) else record.checked_on


def may_sign(actor: Actor, record: Record) -> bool:
    """Once a person; whether the organisation is an authority of the site is asked by the deed."""
    if actor.kind != "authority" or record.state != record.State.SEALED:
        return False
    own = Witness.objects.visible_to(actor).filter(seal__in=Seal.objects.filter(**on(record)))
    return not own.filter(user=actor.user, withdrawn_at=None).exists()


def witnesses_of(actor: Actor, record: Record) -> list[Witness]:
    """Withdrawn ones too, in the order of signing."""
    rows = Witness.objects.visible_to(actor).filter(seal__in=Seal.objects.filter(**on(record)))
    return list(rows.select_related("organisation", "seal", "site"))


def witness(actor: Actor, key: uuid.UUID) -> Witness:
    rows = Witness.objects.visible_to(actor).filter(key=key)
    row = rows.select_related("organisation", "site", "seal__test", "seal__concentrate_check")
    found = row.first()
    if found is None:
        raise NotFound("signature of a witness", key)
    return found


@transaction.atomic
def sign_as_witness(
    *, actor: Actor, record: Record, present_on: date, saw: Sequence[str], name: str,
    qualification: str, at: datetime, number: str = "", remark: str = "",
) -> Witness:  # fmt: skip
    """Raises Forbidden; Conflict when the person signed already; Refused not_sealed, proof_needed,
    day_ahead, before_record, nothing_seen, not_valid."""
    require_authority(actor, record.site)
    if record.state != record.State.SEALED:
        raise Refused("not_sealed", "A witness signs a record that is sealed.")
    proving.require(actor)
    if present_on > date_at(record.site.time_zone, at):
        raise Refused("day_ahead", "This day has not come yet.", "present_on")
    if present_on < day_of(record):
        raise Refused(
            "before_record",
            f"The record is of {day(day_of(record))}, after that day.",
            "present_on",
        )
    codes = [code for code in Witness.Saw.values if code in saw]
    if not codes:
        raise Refused("nothing_seen", "Say what you were present at.", "saw")
    row = Witness(
        site=record.site, seal=record.seal, organisation=actor.organisation, user=actor.user,
        name=name.strip(), qualification=qualification.strip(), number=number.strip(), saw=codes,
        remark=remark.strip(), present_on=present_on, signed_at=at,
    )  # fmt: skip
    row.digest = digest(said(row))
    require_valid(row)
    try:
        with transaction.atomic():
            row.save(by=actor, verb="signed")
    except IntegrityError as error:
        raise Conflict("You have signed this record as a witness already.") from error
    return row


@transaction.atomic
def withdraw(*, actor: Actor, row: Witness, because: str, at: datetime) -> Witness:
    """By the organisation that signed; it stays to be read with the reason.

    Raises Forbidden; Refused because_missing, proof_needed; Conflict when it was withdrawn already.
    """
    require_signer(actor, row)
    proving.require(actor)
    locked = Witness.objects.select_for_update(of=("self",)).select_related("organisation", "site")
    return struck(locked.get(pk=row.pk), because, by=actor, at=at)


def require_signer(actor: Actor, row: Witness) -> None:
    if row.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {row.organisation}, who signed, can withdraw this signature.")


def altered() -> Iterator[Witness]:
    """Signatures that do not say any more what their digest was taken over."""
    for row in Witness._base_manager.select_related("organisation", "seal", "site").order_by("pk"):
        if digest(said(row)) != row.digest:
            yield row
