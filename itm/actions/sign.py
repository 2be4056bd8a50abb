"""Sign and seal: the record is closed for good, duties move, the report is promised."""

import uuid
from datetime import date, datetime

from django.db import transaction

from itm.accounts import proving
from itm.accounts.actor import Actor
from itm.core import outbox
from itm.core.errors import Refused
from itm.findings import catching_up, overdue
from itm.records import chain, dating, latest, past, photographing, states
from itm.records.chain import Signature
from itm.records.duties import derive_site
from itm.records.models import ProportioningTest, Record
from itm.records.results import results_in_force
from itm.schedule import services as schedule


@transaction.atomic(durable=True)
def sign(
    *, actor: Actor, key: uuid.UUID, at: datetime, name: str, qualification: str, number: str = "",
    valid_until: date | None = None,
) -> Record:  # fmt: skip
    """May run twice: a sealed record is returned as it is.

    Raises NotFound, Forbidden, Conflict; Refused proof_needed, name_missing,
    qualification_missing, wrong_state, restoration_open, to_come.
    """
    record = states.locked(actor, key)
    states.require(actor, "sign", record)
    if record.state == record.State.SEALED:
        return record
    proving.require(actor)  # a screen left open signs nothing
    for value, code, what in (
        (name, "name_missing", "name"),
        (qualification, "qualification_missing", "qualification"),
    ):
        if not value.strip():
            raise Refused(code, f"A signature shows the signer's {what}; write it.", what)
    if isinstance(record, ProportioningTest):
        _require_restored(record)
    dating.require_come(record, at)
    overdue.open_now(site=record.site, at=at)
    states.move(actor=actor, record=record, verb="sign", at=at, columns={"sealed_at": at})
    evaluation = record.evaluations.latest("pk")  # made at hand-in, the only way to this state
    signature = Signature(name.strip(), qualification.strip(), number.strip(), valid_until)
    chain.seal(actor=actor, record=record, evaluation=evaluation, signature=signature, at=at)
    photographing.release(actor=actor, record=record)
    if isinstance(record, ProportioningTest):
        device = record.proportioner
        latest.note(device)
        schedule.refresh(
            actor=actor, proportioner=device, results=results_in_force(device),
            reported=past.days_of(record.site_id),
        )  # fmt: skip
    catching_up.after_correction(actor=actor, record=record, at=at)
    derive_site(actor=actor, site=record.site)  # a flow test brings other tasks on
    overdue.after_record(actor=actor, site=record.site, at=at)
    outbox.add("render_report", once=f"render_report {record.key}", record_key=str(record.key))
    return record


def _require_restored(test: ProportioningTest) -> None:
    lines = test.visit.restoration_lines.filter(proportioner=test.proportioner_id, outcome="")
    if left := lines.count():
        raise Refused("restoration_open", f"{left} restoration lines are still open.", "restoring")
