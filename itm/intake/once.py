"""What is asked twice under one key is done once, and answered twice the same."""

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError, transaction

from calc.canonical import digest
from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.errors import Forbidden, Refused
from itm.intake.models import Receipt


@dataclass(frozen=True)
class Answer:
    """What `do` gave, as JSON holds it; `repeated` where nothing was done this time."""

    value: Any
    repeated: bool = False


def once(
    *, actor: Actor, key: uuid.UUID, what: str, body: Any, do: Callable[[], Any], at: datetime
) -> Answer:
    """Run `do` under the key of who asks, in one transaction with its receipt.

    `body` is everything that was asked for, as JSON; `do` returns what JSON can hold. The receipt
    is written before the work, so that of two at the same moment the unique constraint lets one
    work and the other wait for its answer. Work that is refused takes its receipt along, so the
    same key may come again. Raises Forbidden; Refused bad_body, other_body; and what `do` raises.
    """
    organisation = actor.organisation
    if organisation is None:
        raise Forbidden("Only somebody who acts for an organisation can ask under a key.")
    told = _digest(body)
    first = _first(organisation, key)
    if first is None:
        try:
            return _done(
                Receipt(organisation=organisation, key=key, what=what, digest=told, taken_at=at), do
            )
        except _Taken:
            first = _first(organisation, key)
            if first is None:  # it stood in the way, and was undone before it could be read
                raise Refused(
                    "asked_at_once",
                    "The same was asked a moment ago and did not go through; ask again.",
                ) from None
    _require_same(first, what, told)
    return Answer(_ordered(first.answer), repeated=True)


def _require_same(first: Receipt, what: str, told: str) -> None:
    if (first.what, first.digest) != (what, told):
        raise Refused(
            "other_body",
            "Something else was asked under this key before. Each new thing needs a key of its "
            "own; only an exact repeat may carry the same.",
        )


def _ordered(value: Any) -> Any:
    """As JSON holds it, names in one order: PostgreSQL keeps an order of its own, and the first
    answer and its repeat shall not differ by a byte."""
    return json.loads(json.dumps(value, cls=DjangoJSONEncoder, sort_keys=True))


def replayed(*, actor: Actor, key: uuid.UUID, what: str, body: Any) -> Answer | None:
    """The first answer, where `keep` kept one under this key. Raises Refused bad_body,
    other_body."""
    organisation = actor.organisation
    first = _first(organisation, key) if organisation is not None else None
    if first is None:
        return None
    _require_same(first, what, _digest(body))
    return Answer(_ordered(first.answer), repeated=True)


def answer_to(*, actor: Actor, key: uuid.UUID, what: str) -> Any:
    """What was answered to `what` under this key, or nothing where it has not come."""
    organisation = actor.organisation
    first = _first(organisation, key) if organisation is not None else None
    return _ordered(first.answer) if first is not None and first.what == what else None


def keep(
    *, actor: Actor, key: uuid.UUID, what: str, body: Any, value: Any, at: datetime
) -> Answer:  # fmt: skip
    """The answer to work whose parts are each done once under keys of their own: they are committed
    one by one, so their receipt comes after them. Lost in between, a repeat finds every part as
    taken before. Raises Forbidden; Refused bad_body, other_body."""
    return once(actor=actor, key=key, what=what, body=body, do=lambda: value, at=at)


class _Taken(Exception):
    """Somebody else has the key."""


def _first(organisation: Organisation, key: uuid.UUID) -> Receipt | None:
    return Receipt.objects.filter(organisation=organisation, key=key).first()


@transaction.atomic
def _done(receipt: Receipt, do: Callable[[], Any]) -> Answer:
    try:
        with transaction.atomic():
            receipt.save(force_insert=True)
    except IntegrityError as error:
        raise _Taken from error
    receipt.answer = _ordered(do())  # as a repeat will read it
    receipt.save(update_fields=["answer"])
    return Answer(receipt.answer)


def _digest(body: Any) -> str:
    try:
        return digest(body)
    except ValueError as error:
        raise Refused(
            "bad_body",
            "This holds a number or a character that JSON cannot carry unchanged: write large "
            "numbers as text, and leave out broken characters.",
        ) from error
