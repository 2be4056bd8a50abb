"""Sign and seal: the record is closed for good, duties move, the report is promised."""

import uuid
from datetime import datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core import outbox
from itm.core.errors import Refused
from itm.records import chain, latest, states
from itm.records.chain import Signature
from itm.records.duties import derive_site
from itm.records.models import ProportioningTest
from itm.records.results import results_in_force
from itm.schedule import services as schedule


@transaction.atomic(durable=True)
def sign(
    *, actor: Actor, key: uuid.UUID, at: datetime, name: str, qualification: str, number: str = ""
) -> ProportioningTest:
    """May run twice: a sealed record is returned as it is.

    Raises NotFound, Forbidden, Conflict; Refused name_missing, qualification_missing,
    wrong_state, restoration_open.
    """
    test = states.locked(actor, key)
    states.require(actor, "sign", test)
    if test.state == ProportioningTest.State.SEALED:
        return test
    for value, code, what in (
        (name, "name_missing", "name"),
        (qualification, "qualification_missing", "qualification"),
    ):
        if not value.strip():
            raise Refused(code, f"A signature shows the signer's {what}; write it.", what)
    lines = test.visit.restoration_lines.filter(proportioner=test.proportioner_id, outcome="")
    if left := lines.count():
        raise Refused("restoration_open", f"{left} restoration lines are still open.", "restoring")
    states.move(actor=actor, test=test, verb="sign", at=at, columns={"sealed_at": at})
    evaluation = test.evaluations.latest("pk")  # made at hand-in, the only way to this state
    signature = Signature(name.strip(), qualification.strip(), number.strip())
    chain.seal(actor=actor, test=test, evaluation=evaluation, signature=signature, at=at)
    latest.note(test.proportioner)
    schedule.refresh(
        actor=actor,
        proportioner=test.proportioner,
        results=results_in_force(test.proportioner),
    )
    derive_site(actor=actor, site=test.site)  # a flow test brings other tasks on
    outbox.add("render_report", once=f"render_report {test.key}", record_key=str(test.key))
    return test
