"""What one deed found at one site, since all of it is one mail.

What it opened shares the moment of opening. What it found again is known by its lines in the lives
of the deficiencies: they share the moment that was entered, and the history says which of them was
written when. A deed that opens some and finds others again is one of each.
"""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from itm.core.history import Change
from itm.findings.models import Deficiency, Step
from itm.notices.models import News

K = News.Kind
AGAIN = (K.WRONG_AGAIN, K.WRONG_WORSE)


def moments(rows: Iterable[News]) -> dict[UUID, datetime]:
    """By the keys of these lines, when the deed of each was entered; none where it is not known."""
    rows = list(rows)
    out: dict[UUID, datetime] = {}
    opened = {row.key: row.thing for row in rows if row.kind == K.WRONG}
    if opened:
        found = Deficiency.objects.filter(key__in=opened.values())
        at = dict(found.values_list("key", "opened_at"))
        out |= {key: at[thing] for key, thing in opened.items() if thing in at}
    again = [row for row in rows if row.kind in AGAIN]
    if not again:
        return out
    lives = Step.objects.filter(
        verb=Step.Verb.FOUND_AGAIN, deficiency__key__in={row.thing for row in again}
    )
    steps = list(lives.order_by("pk").values_list("key", "deficiency__key", "at"))
    written = dict(
        Change.objects.filter(
            model=Step._meta.label, verb="created", object_key__in=[key for key, _, _ in steps]
        ).values_list("object_key", "at")
    )
    for row in again:
        # The step is written just before its deficiency, whose line of history the news tell.
        before = [
            at for key, thing, at in steps
            if thing == row.thing and key in written and written[key] <= row.at
        ]  # fmt: skip
        if before:
            out[row.key] = before[-1]
    return out


def found_by(row: News, at: datetime) -> QuerySet[Deficiency]:
    """All that the deed of this line opened, or all that it found again, at its site."""
    here = Deficiency.objects.filter(site=row.site_id)
    if row.kind == K.WRONG:
        return here.filter(opened_at=at)
    steps = Step.objects.filter(verb=Step.Verb.FOUND_AGAIN, at=at, deficiency__site=row.site_id)
    return here.filter(pk__in=steps.values("deficiency"))


def classes_of(row: News, things: Iterable[UUID], at: datetime | None) -> dict[UUID, str]:
    """Of what the same deed found worse, from which class to which."""
    if row.kind not in AGAIN or at is None:
        return {row.thing: row.note} if row.kind in (K.WRONG_WORSE, K.WRONG_CLASSED) else {}
    worse = list(News.objects.filter(kind=K.WRONG_WORSE, site=row.site_id, thing__in=set(things)))
    when = moments(worse)
    return {one.thing: one.note for one in worse if when.get(one.key) == at}
