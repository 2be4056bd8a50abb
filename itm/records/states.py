"""What may happen next to a record, and who may do it."""

import uuid
from datetime import datetime
from typing import Any

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.records.models import Move, ProportioningTest

# (state, verb): state afterwards. A sealed record has no way out: an amendment is a new record.
MOVES = {
    ("draft", "hand_in"): "handed_in",
    ("handed_in", "send_back"): "draft",
    ("handed_in", "sign"): "sealed",
    ("draft", "abandon"): "abandoned",
}
WORDS = {
    "hand_in": "handed in",
    "send_back": "sent back",
    "sign": "signed",
    "abandon": "abandoned",
    "amend": "amended",
    "change": "changed",
}
ANY = ("member", "supervisor", "manager")
QUALIFIED = ("supervisor", "manager")
CREW_VERBS = {
    "change": ANY,
    "hand_in": ANY,
    "abandon": ANY,
    "send_back": QUALIFIED,
    "sign": QUALIFIED,
    "amend": QUALIFIED,
}
OWNER_VERBS = {"send_back": ANY}


def may(actor: Actor, verb: str, test: ProportioningTest) -> bool:
    """Has the actor's role a right to this verb on this record, whatever its state?"""
    if actor.organisation_id == test.visit.contractor_id:
        return actor.role in CREW_VERBS.get(verb, ())
    if actor.organisation_id == test.site.owner_id:
        return actor.role in OWNER_VERBS.get(verb, ())
    return False


def possible(actor: Actor, verb: str, test: ProportioningTest) -> bool:
    """May the actor do this now? Pages show the buttons that would work."""
    fits = (test.state, verb) in MOVES or (
        (verb == "amend" and test.state == "sealed") or (verb == "change" and test.state == "draft")
    )
    return fits and may(actor, verb, test)


def require(actor: Actor, verb: str, test: ProportioningTest) -> None:
    """Raises Forbidden for the wrong organisation or role."""
    if may(actor, verb, test):
        return
    if actor.organisation_id == test.visit.contractor_id:
        raise Forbidden(f"A record is {WORDS[verb]} by a supervisor or manager.")
    raise Forbidden(f"A record is {WORDS[verb]} by the contractor who made it.")


def locked(actor: Actor, key: uuid.UUID) -> ProportioningTest:
    """The test under a lock until the transaction ends. Raises NotFound."""
    pk = ProportioningTest.objects.visible_to(actor).filter(key=key).values_list("pk", flat=True)
    rows = ProportioningTest.objects.select_related(
        "site", "visit", "proportioner__system", "bench"
    ).select_for_update(of=("self",))
    test = rows.filter(pk__in=list(pk)).first()
    if test is None:
        raise NotFound("proportioning test", key)
    return test


def move(
    *,
    actor: Actor,
    test: ProportioningTest,
    verb: str,
    at: datetime,
    reason: str = "",
    document: bytes | None = None,
    digest: str = "",
    once: uuid.UUID | None = None,
    columns: dict[str, Any] | None = None,
) -> None:
    """Make the move and keep it. The UPDATE names the old state: no row hit is a Conflict.

    Raises Refused wrong_state, Conflict.
    """
    target = MOVES.get((test.state, verb))
    if target is None:
        raise Refused(
            "wrong_state",
            f"A record that is {test.get_state_display()} cannot be {WORDS[verb]}.",
        )
    values = {**(columns or {}), "state": target}
    with history.bulk(actor, verb, ProportioningTest, reason, of=test):
        still = ProportioningTest.objects.filter(pk=test.pk, state=test.state)
        if not still.update(**values):
            raise Conflict(f"Somebody else was faster: this record can no longer be {WORDS[verb]}.")
    for name, value in values.items():
        setattr(test, name, value)
    keep(actor=actor, test=test, verb=verb, at=at, reason=reason, document=document,
         digest=digest, once=once)  # fmt: skip


def keep(
    *,
    actor: Actor,
    test: ProportioningTest,
    verb: str,
    at: datetime,
    reason: str = "",
    document: bytes | None = None,
    digest: str = "",
    once: uuid.UUID | None = None,
) -> Move:
    """The line in the record's life that everybody who sees the record can read."""
    return Move.objects.create(
        by=actor,
        test=test,
        verb=verb,
        at=at,
        person=actor.person,
        organisation=actor.organisation_name,
        reason=reason,
        document=document,
        digest=digest,
        once=once,
    )
