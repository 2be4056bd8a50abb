"""Concentrate checks on the own desk: drafts, what waits for a laboratory or a signature."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, Min, OuterRef, Q, Subquery

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.records.check_queries import checks
from itm.records.models import ConcentrateCheck, Move
from itm.trends.work import Few, few

State = ConcentrateCheck.State
USED = Q(samples__withdrawn_reason="")
AWAY = USED & Q(samples__sent_on__isnull=False, samples__report=None)


@dataclass(frozen=True)
class AtHand:
    """One check, and the words for what it waits for."""

    check: ConcentrateCheck
    waits: str
    detail: str = ""


def checks_at_hand(actor: Actor) -> Few:
    """Of the own organisation, in one query: bottles the longest away first, then what was sent
    back, then the oldest."""
    last = Move.objects.filter(concentrate_check=OuterRef("pk")).order_by("-pk")
    rows = checks(actor).filter(
        organisation=actor.organisation_id, state__in=[State.DRAFT, State.HANDED_IN]
    )
    rows = rows.annotate(
        bottles=Count("samples", filter=USED),
        away=Count("samples", filter=AWAY),
        away_since=Min("samples__sent_on", filter=AWAY),
        last=Subquery(last.values("verb")[:1]),
        why=Subquery(last.values("reason")[:1]),
        by=Subquery(last.values("person")[:1]),
    )
    found = few(rows.order_by(F("away_since").asc(nulls_last=True), "-last", "checked_on", "pk"))
    return Few([at_hand(row) for row in found.rows], found.more)


def at_hand(row: Any) -> AtHand:
    if row.state == State.HANDED_IN:
        said = ", ".join(filter(None, (row.limits, row.strength, row.layers)))
        return AtHand(row, "handed in, not signed yet", said)
    sent_back = f"sent back by {row.by}: {row.why}" if row.last == "send_back" else ""
    if row.away:
        several = "bottle" if row.away == 1 else "bottles"
        since = f"{row.away} {several} at a laboratory, the first since {day(row.away_since)}"
        return AtHand(row, since, sent_back)
    bottles = f"{row.bottles} bottle{'' if row.bottles == 1 else 's'} noted"
    return AtHand(row, f"draft, {bottles}", sent_back)
