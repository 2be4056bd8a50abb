"""What is wrong and what is out of service by name, as the summary mail lists it: the worst first,
as many as a mail can hold, and how many there are besides."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count

from itm.accounts.actor import Actor
from itm.core.figures import thin
from itm.core.letters import address
from itm.findings.models import Deficiency
from itm.findings.queries import all_deficiencies, days_open, where
from itm.findings.wording import named
from itm.trends.impairments import impairments, with_what_is_out
from itm.trends.wrong_systems import WORDS
from itm.trends.wrong_things import not_restored

MOST = 20  # of each by name; own choice
SEVERITY = Deficiency.Severity


@dataclass(frozen=True)
class Line:
    what: str
    where: str
    how_long: str
    link: str


@dataclass(frozen=True)
class Wrong:
    """`more_out` and `more_wrong` say in words how many are not named, or nothing."""

    out: Sequence[Line]
    more_out: str
    deficiencies: Sequence[Line]
    more_wrong: str
    head: str


def wrong_now(actor: Actor, now: datetime) -> Wrong:
    """Of the sites that the reader sees, in a number of queries that does not grow."""
    rows = all_deficiencies(actor).filter(closed_at=None)
    counted = Counter(
        {
            one["severity"]: one["count"]
            for one in Deficiency.objects.visible_to(actor)
            .filter(closed_at=None)
            .order_by()
            .values("severity")
            .annotate(count=Count("pk", distinct=True))
        }
    )
    ordered = rows.select_related("inspection_line").order_by("severity", "opened_at", "pk")
    shown = list(ordered[:MOST])
    lasting = impairments(actor)
    out = lasting.count()
    first = list(lasting.order_by("started_at", "pk").values_list("pk", flat=True)[:MOST])
    systems = with_what_is_out(first)
    return Wrong(
        out=[_out(systems[pk], now) for pk in first],
        more_out=_more([(out - len(first), ("time out of service", "times out of service"))]),
        deficiencies=[_line(row, actor) for row in shown],
        more_wrong=_rest(counted, Counter(row.severity for row in shown)),
        head=_head(out, counted.total()),
    )


def _out(row: Any, now: datetime) -> Line:
    told = not_restored(row, now, ())
    return Line(
        what=told.what,
        where=f"{told.site}: {told.where}",
        how_long=f"since {told.how_long}, with {told.who}",
        link=address("impairment", row.key),
    )


def _line(row: Any, actor: Actor) -> Line:
    days = days_open(row, actor.today)
    who = ", ".join(filter(None, (row.responsible, str(row.assigned or ""))))
    said = [
        f"open for {days} day{'s'[: days != 1]}",
        f"with {who}" if who else "nobody named to see to it",
        "a fix is proposed" if row.proposes else "",
    ]
    return Line(
        what=f"{row.classed}: {named(row)}",
        where=f"{row.site.name}: {where(row)}",
        how_long=", ".join(filter(None, said)),
        link=address("deficiency", row.key),
    )


def _rest(counted: Counter[int], shown: Counter[int]) -> str:
    return _more([(counted[value] - shown[value], WORDS[value]) for value in SEVERITY])


def _more(counts: list[tuple[int, tuple[str, str]]]) -> str:
    return ", ".join(
        f"{thin(count)} {words[count != 1]}" for count, words in counts if count > 0
    )  # fmt: skip


def _head(out: int, wrong: int) -> str:
    counts = [
        (out, ("out of service", "out of service")),
        (wrong, ("deficiency", "deficiencies")),
    ]
    return _more(counts)
