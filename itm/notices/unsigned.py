"""News of a result that nobody has signed for long, without anything of what it says."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.notices.found import Found
from itm.notices.models import News
from itm.records.models import ConcentrateCheck, ProportioningTest
from itm.trends.unsigned import (
    WAITS,
    Place,
    checks_told,
    handed_in_on,
    place,
    tests_told,
    waiting,
)

BACK = timedelta(days=2)  # looked at once more; what is there already stays as it is
GONE_ON = "signed or sent back since"


def gathered(since: datetime, now: datetime) -> Iterator[tuple[Found, str, date]]:
    """Whom each concerns, where it was found, and the day of its hand-in; anew after each."""
    for model, to in ((ProportioningTest, "visit__contractor"), (ConcentrateCheck, "organisation")):
        kept: Any = model._default_manager
        rows = waiting(kept.filter(handed_in_at__gt=since - WAITS - BACK), now)
        name = model._meta.model_name
        for pk, key, site, whose, at in rows.order_by("handed_in_at", "pk").values_list(
            "pk", "key", "site", to, "handed_in_at"
        ):
            yield Found(key, site, whose), f"unsigned {name} {pk} {at:%Y-%m-%dT%H:%M}", at.date()


def seen(actor: Actor, rows: Sequence[News]) -> dict[UUID, tuple[Place, str]]:
    """By key of the record: where it is, and whether it still waits."""
    keys = {row.thing for row in rows}
    out = {}
    for found in (tests_told(actor), checks_told(actor)):
        for row in found.filter(key__in=keys):
            there = place(row, actor)
            waits = row.state == row.State.HANDED_IN
            words = f"handed in on {day(handed_in_on(row))} by {there.who}" if waits else GONE_ON
            out[row.key] = (there, words)
    return out
