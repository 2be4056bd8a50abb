"""An authority answers a consent that somebody else noted in its name."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from itm.accounts.actor import Actor, leads, require_lead
from itm.core.errors import Forbidden, NotFound
from itm.registry.services import keep
from itm.schedule.models import Adoption, Consent, Terms


def consents(actor: Actor) -> QuerySet[Consent]:
    rows = Consent.objects.visible_to(actor)
    return rows.select_related(
        "authority", "requirement", "adoption__site", "adoption__adopter", "adoption__programme"
    )


def consents_of(actor: Actor, held: Adoption) -> QuerySet[Consent]:
    return consents(actor).filter(adoption=held)


def consent(actor: Actor, key: UUID) -> Consent:
    row = consents(actor).filter(key=key).first()
    if row is None:
        raise NotFound("consent", key)
    return row


def disputed(actor: Actor, held: Sequence[Adoption], today: date) -> QuerySet[Consent]:
    """Those of the adoptions on which something rests that day, though the authority disputes
    them: the latest terms of a row, or the end of a programme."""
    later = Terms.objects.filter(
        adoption=OuterRef("adoption"), requirement=OuterRef("requirement"),
        starts_on__gt=OuterRef("starts_on"), starts_on__lte=today,
    )  # fmt: skip
    resting = Terms.objects.filter(~Exists(later), starts_on__lte=today).exclude(consent=None)
    return consents(actor).filter(
        Q(pk__in=resting.values("consent")) | Q(requirement=None),
        answer=Consent.Answer.DISPUTED,
        adoption__in=[row.pk for row in held],
    )


def may_answer(actor: Actor, row: Consent) -> bool:
    return leads(actor) and actor.organisation_id == row.authority_id != row.adoption.adopter_id


def require_answer(actor: Actor, consent: Consent) -> None:
    if actor.organisation_id != consent.authority_id:
        raise Forbidden("Only the authority that is named can answer a consent.")
    require_lead(actor, what="answer a consent")
    if consent.adoption.adopter_id == consent.authority_id:
        raise Forbidden("Your own authority noted this consent: it needs no answer.")


def answer(*, actor: Actor, consent: Consent, said: str, today: date, words: str = "") -> Consent:
    """Says whether it was given, with why not; may be said again when more is known.

    Raises Forbidden; Refused not_valid.
    """
    require_answer(actor, consent)
    values = {
        "answer": said, "answered_on": today, "answered_by": actor.person, "answer_words": words,
    }  # fmt: skip
    return keep(consent, values, by=actor, verb=said)
