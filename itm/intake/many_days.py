"""Days that were accepted together: kept until each is answered, and read by who sent them."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F, Prefetch

from itm.accounts.actor import Actor
from itm.accounts.tokens import Bearer
from itm.core import outbox
from itm.core.errors import NotFound
from itm.intake.models import ManyDays, OneOfMany

JOB = "take_many_days"
MOST_TRIES = 2  # of one day that ends its worker, before it is left out; own choice
AT_ONCE = 100  # rows of one statement


@transaction.atomic
def accept(*, bearer: Bearer, key: UUID, days: Sequence[dict[str, Any]], at: datetime) -> ManyDays:
    """Keep them all and promise the work. `key` is the program's own."""
    token = bearer.token
    many = ManyDays.objects.create(
        key=key, organisation=token.membership.organisation, token=token, asked_at=at
    )
    rows = (
        OneOfMany(many=many, place=place, told_key=str(one.get("key", ""))[:64], asked=one)
        for place, one in enumerate(days)
    )
    OneOfMany.objects.bulk_create(rows, batch_size=AT_ONCE)
    outbox.add(JOB, many=many.pk)
    return many


def found(actor: Actor, key: UUID) -> ManyDays:
    """With its days in `days`, in their order. Raises NotFound."""
    rows = ManyDays.objects.filter(organisation=actor.organisation_id, key=key)
    row = rows.prefetch_related(Prefetch("days", OneOfMany.objects.defer("asked"))).first()
    if row is None:
        raise NotFound("hand-in of many days", key)
    return row


def begun(pk: int) -> ManyDays | None:
    """For the job alone: what is not done yet."""
    rows = ManyDays.objects.select_related("token__membership__user")
    return (
        rows.select_related("token__membership__organisation").filter(pk=pk, ended_at=None).first()
    )


def answer_next(
    many: ManyDays, *, do: Callable[[dict[str, Any]], dict[str, Any]],
    give_up: Callable[[str], dict[str, Any]],
) -> bool:  # fmt: skip
    """Answer the next day; False where none is left. A day that ended its worker so often that it
    would stop all after it is given up."""
    row = many.days.filter(answer__isnull=True).order_by("place").first()
    if row is None:
        return False
    # Before the work, so that a day that takes its worker along is counted.
    OneOfMany.objects.filter(pk=row.pk).update(tries=F("tries") + 1)
    row.answer = do(row.asked or {}) if row.tries < MOST_TRIES else give_up(row.told_key)
    row.asked = None
    row.save(update_fields=["answer", "asked"])
    return True


def end(many: ManyDays, at: datetime) -> None:
    """May run twice."""
    ManyDays.objects.filter(pk=many.pk, ended_at=None).update(ended_at=at)
