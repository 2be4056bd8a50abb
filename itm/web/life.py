"""The life of a finding line by line, with links to what each line names."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.core.figures import day, instant
from itm.findings import queries


@dataclass(frozen=True)
class Line:
    at: str
    what: str
    words: str
    who: str
    by: str
    link: tuple[str, str] | None = None
    photo: Any = None


def life(actor: Actor, finding: Any, steps: Iterable[Any]) -> list[Line]:
    zone = finding.site.time_zone
    rows = list(steps)
    seen = queries.records_seen(actor, rows)
    return [_line(step, zone, seen) for step in rows]


def _line(step: Any, zone: str, seen: set[Any]) -> Line:
    who = [step.who, instant(step.happened_at, zone), step.how, step.reference]
    words = step.words
    if step.clock is not None:
        words = "; ".join(filter(None, (words, str(step.clock))))
    return Line(
        at=instant(step.at, zone),
        what=step.get_verb_display(),
        words=words,
        who=", ".join(one for one in who if one),
        by=", ".join(filter(None, (step.person, step.organisation))),
        link=link_of(step, seen),
        photo=step.photo if step.photo and step.photo.withdrawn_at is None else None,
    )


def link_of(named: Any, seen: set[Any]) -> tuple[str, str] | None:
    """Words and address of the record that a line names, where the reader may open it."""
    if named.test is not None:
        address = reverse("test", args=[named.test.key]) if named.test.key in seen else ""
        return f"proportioning test of {day(named.test.tested_on)}", address
    if named.concentrate_check is not None:
        row = named.concentrate_check
        address = reverse("check", args=[row.key]) if row.key in seen else ""
        return f"concentrate check of {day(row.checked_on)}", address
    if named.inspection_line is not None:
        row = named.inspection_line.inspection
        return f"inspection of {day(row.done_on)}", reverse("inspection", args=[row.key])
    if named.restoration_line is not None:
        row = named.restoration_line.visit
        address = reverse("restoring", args=[row.key]) if row.key in seen else ""
        return "restoration list", address
    if named.duty is not None:
        row = named.duty
        return f"duty with its latest day {day(row.latest_on)}", reverse("duty", args=[row.key])
    return None
