"""Questions of an authority on a record, and orders with a day."""

from datetime import date, datetime

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.withdrawing import struck
from itm.findings import rights
from itm.findings.models import Answer, AuthorityVisit, Deficiency, Order, Question
from itm.records.models import Record
from itm.records.models.kept import on
from itm.registry.access import require_authority
from itm.registry.models import Site


@transaction.atomic
def ask(*, actor: Actor, record: Record, words: str, at: datetime) -> Question:
    """On a sealed record. Raises Forbidden; Refused words_missing, not_sealed."""
    require_authority(actor, record.site)
    if record.state != record.State.SEALED:
        raise Refused("not_sealed", "A question is asked on a sealed record.")
    if not words.strip():
        raise Refused("words_missing", "Write the question.", "words")
    made: Question = Question.objects.create(
        by=actor, site=record.site, organisation=actor.organisation, words=words.strip(),
        asked_at=at, asked_by=actor.person, **on(record),
    )  # fmt: skip
    return made


@transaction.atomic
def answer(*, actor: Actor, question: Question, words: str, at: datetime) -> Answer:
    """By anybody who sees it. Raises Conflict; Refused words_missing."""
    row = _locked(question)
    if not words.strip():
        raise Refused("words_missing", "Write the answer.", "words")
    made: Answer = Answer.objects.create(
        by=actor, question=row, words=words.strip(), at=at, person=actor.person,
        organisation=actor.organisation_name,
    )  # fmt: skip
    return made


def require_asker(actor: Actor, question: Question) -> None:
    if question.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {question.organisation}, who asked, can close this question.")


@transaction.atomic
def close_question(*, actor: Actor, question: Question, at: datetime) -> Question:
    """By the authority that asked. May run twice. Raises Forbidden."""
    require_asker(actor, question)
    row = Question.objects.select_for_update(of=("self",)).get(pk=question.pk)
    if row.closed_at is None:
        row.closed_at, row.closed_by = at, actor.person
        row.save(by=actor, verb="closed")
    return row


def _locked(question: Question) -> Question:
    row = Question.objects.select_for_update(of=("self",)).get(pk=question.pk)
    if row.closed_at is not None:
        raise Conflict("This question is closed; a new one can be asked on the record.")
    return row


@transaction.atomic
def order(
    *, actor: Actor, site: Site, words: str, due_on: date, at: datetime,
    deficiency: Deficiency | None = None, authority_visit: AuthorityVisit | None = None,
) -> Order:  # fmt: skip
    """On a deficiency, on a visit of one's own or on the site. Raises Forbidden; Refused
    words_missing, day_past, other_visit, other_site."""
    require_authority(actor, site)
    if deficiency is not None and deficiency.site_id != site.pk:
        raise Refused("other_site", "An order names a deficiency of the site that it is for.")
    if authority_visit is not None and (
        authority_visit.organisation_id != actor.organisation_id
        or authority_visit.site_id != site.pk
        or authority_visit.withdrawn_at is not None
    ):
        raise Refused(
            "other_visit", "An order names a visit of your own to this site that was not withdrawn."
        )
    if not words.strip():
        raise Refused("words_missing", "Say what has to be done.", "words")
    if due_on < date_at(site.time_zone, at):
        raise Refused("day_past", "This day is over; set one that is to come.", "due_on")
    made: Order = Order.objects.create(
        by=actor, site=site, deficiency=deficiency, authority_visit=authority_visit,
        organisation=actor.organisation, words=words.strip(), due_on=due_on, made_at=at,
        made_by_name=actor.person,
    )  # fmt: skip
    return made


@transaction.atomic
def see_order(*, actor: Actor, order: Order, at: datetime) -> Order:
    """The owner has read it. May run twice. Raises Forbidden; Conflict for one withdrawn."""
    rights.require_owner(actor, order.site, "say that it has seen an order")
    row = _in_force(order)
    if row.seen_at is None:
        row.seen_at, row.seen_by = at, actor.person
        row.save(by=actor, verb="seen")
    return row


def require_step(actor: Actor, order: Order) -> None:
    """Whoever can say anything of it: that it is seen, or that it is met. Raises Forbidden."""
    if actor.organisation_id not in (order.organisation_id, order.site.owner_id):
        raise Forbidden(
            f"Only the owner of the site and {order.organisation}, who made the order, can say "
            "that it is seen or met."
        )


def require_maker(actor: Actor, order: Order) -> None:
    if order.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {order.organisation}, who made the order, can say that it is met.")


@transaction.atomic
def withdraw_order(*, actor: Actor, order: Order, because: str, at: datetime) -> Order:
    """Made by mistake, which is not met: it stays to be read with the reason. By the authority that
    made it. Raises Forbidden; Refused because_missing; Conflict where it is met or withdrawn."""
    require_withdraw(actor, order)
    row = _in_force(order)
    if row.met_at is not None:
        raise Conflict(f"{row.met_by} has said already that this order is met.")
    return struck(row, because, by=actor, at=at)


def require_withdraw(actor: Actor, order: Order) -> None:
    if order.organisation_id != actor.organisation_id:
        raise Forbidden(f"Only {order.organisation}, who made the order, can withdraw it.")


def _in_force(order: Order) -> Order:
    """Held. Raises Conflict for one withdrawn."""
    row: Order = Order.objects.select_for_update(of=("self",)).get(pk=order.pk)
    if row.withdrawn_at is not None:
        raise Conflict(f"{row.withdrawn_by} withdrew this order; it asks for nothing any more.")
    return row


@transaction.atomic
def meet_order(*, actor: Actor, order: Order, words: str, at: datetime) -> Order:
    """The authority that made it says that it is met, and by what. Raises Forbidden, Conflict;
    Refused words_missing."""
    require_maker(actor, order)
    if not words.strip():
        raise Refused("words_missing", "Say what shows that it is met.", "words")
    row = _in_force(order)
    if row.met_at is not None:
        raise Conflict(f"{row.met_by} has said already that this order is met.")
    row.met_at, row.met_by, row.met_words = at, actor.person, words.strip()
    row.save(by=actor, verb="met")
    return row
