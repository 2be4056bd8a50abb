"""What may happen next to a record, and who may do it."""

import uuid
from datetime import datetime
from typing import Any

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.records.drafts import over, writes_in
from itm.records.models import ConcentrateCheck, Move, ProportioningTest, Record
from itm.records.models.kept import on
from itm.registry.access import works_at

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
# What the deeds on a record read of it.
RELATED: dict[type[Record], tuple[str, ...]] = {
    ProportioningTest: ("site", "visit__site", "proportioner__system", "bench"),
    ConcentrateCheck: ("site", "tank", "organisation"),
}


def may(actor: Actor, verb: str, record: Record) -> bool:
    """Has the actor's role a right to this verb on this record, whatever its state?"""
    if actor.organisation_id == record.maker_id:
        return actor.role in CREW_VERBS.get(verb, ()) and still_may(actor, verb, record)
    if actor.organisation_id == record.site.owner_id:
        return actor.role in OWNER_VERBS.get(verb, ())
    return False


def still_may(actor: Actor, verb: str, record: Record) -> bool:
    """Whose time at the site is over finishes what it began there and gives up the rest. To
    correct a sealed record is begun anew, so it is a matter between the owner and its maker.

    A concentrate check is begun by who works there, and its laboratory answers weeks later.
    """
    if verb == "abandon":
        return True
    if verb == "amend":
        return works_at(actor, record.site)
    if isinstance(record, ConcentrateCheck):
        return True
    record.visit.site = record.site  # the same one, which is read already
    return writes_in(actor, record.visit)


def possible(actor: Actor, verb: str, record: Record) -> bool:
    """May the actor do this now? Pages show the buttons that would work."""
    fits = (record.state, verb) in MOVES or (
        (verb == "amend" and record.state == "sealed")
        or (verb == "change" and record.state == "draft")
    )
    return fits and may(actor, verb, record)


def require(actor: Actor, verb: str, record: Record) -> None:
    """Raises Forbidden for the wrong organisation or role."""
    if may(actor, verb, record):
        return
    if actor.organisation_id == record.maker_id:
        if actor.role in CREW_VERBS.get(verb, ()):
            raise Forbidden(over(record.site))
        raise Forbidden(f"A record is {WORDS[verb]} by a supervisor or manager.")
    raise Forbidden(f"A record is {WORDS[verb]} by the organisation that made it.")


def locked(actor: Actor, key: uuid.UUID) -> Record:
    """The record of whatever kind, under a lock until the transaction ends. Raises NotFound."""
    for model, related in RELATED.items():
        seen: Any = model.objects.visible_to(actor).filter(key=key)
        rows: Any = model.objects.select_related(*related).select_for_update(of=("self",))
        found: Record | None = rows.filter(pk__in=list(seen.values_list("pk", flat=True))).first()
        if found is not None:
            return found
    raise NotFound("record", key)


def move(
    *,
    actor: Actor,
    record: Record,
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
    target = MOVES.get((record.state, verb))
    if target is None:
        raise Refused(
            "wrong_state",
            f"A record that is {record.get_state_display()} cannot be {WORDS[verb]}.",
        )
    values = {**(columns or {}), "state": target}
    model = type(record)
    with history.bulk(actor, verb, model, reason, of=record):
        still: Any = model.objects.filter(pk=record.pk, state=record.state)
        if not still.update(**values):
            raise Conflict(f"Somebody else was faster: this record can no longer be {WORDS[verb]}.")
    for name, value in values.items():
        setattr(record, name, value)
    keep(actor=actor, record=record, verb=verb, at=at, reason=reason, document=document,
         digest=digest, once=once)  # fmt: skip


def keep(
    *,
    actor: Actor,
    record: Record,
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
        **on(record),
        verb=verb,
        at=at,
        person=actor.person,
        organisation=actor.organisation_name,
        reason=reason,
        document=document,
        digest=digest,
        once=once,
    )
