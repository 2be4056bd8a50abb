"""Due dates moved by people, inside the window that the rule gives: all of them or none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import QuerySet

from itm.accounts.actor import Actor, require_kind
from itm.core.errors import Forbidden, Refused
from itm.core.figures import day
from itm.registry.models import Site
from itm.schedule.models import Duty
from itm.schedule.queries import open_duties
from itm.schedule.standing import WAYS, stand

NAMED = 5  # of those outside their window, in the sentence


@dataclass(frozen=True)
class Shift:
    """By so many days, to one day, or (neither) back to the programme's own day."""

    days: int | None = None
    to: date | None = None

    def of(self, duty: Duty) -> date | None:
        if self.to is not None:
            return self.to
        return duty.due_on + timedelta(days=self.days) if self.days is not None else None


def own_open(actor: Actor, site: Site | None = None, task: str = "") -> QuerySet[Duty]:
    """Open cycles at the owner's sites; retests are never moved."""
    rows = open_duties(actor).filter(site__owner=actor.organisation_id)
    rows = rows.exclude(cause=Duty.Cause.RETEST)
    if site is not None:
        rows = rows.filter(site=site)
    if task:
        rows = rows.filter(requirement__task=task)
    return rows.select_related("requirement", *WAYS).order_by("pk")


@transaction.atomic
def shift(*, actor: Actor, duties: Sequence[Duty], by: Shift, why: str) -> list[Duty]:
    """The window stays: a duty never becomes late later than its rule says.

    Raises Forbidden; Refused nothing_chosen, why_missing, outside_window.
    """
    require_kind(actor, "owner", what="move due dates")
    if not duties:
        raise Refused("nothing_chosen", "No open duty fits this choice.")
    back = by == Shift()
    if not why.strip() and not back:
        raise Refused("why_missing", "Say why the due dates move.", "why")
    if any(duty.site.owner_id != actor.organisation_id for duty in duties):
        raise Forbidden("Only the owner of a site moves its due dates.")
    outside = [duty for duty in duties if not fits(duty, by.of(duty))]
    if outside:
        raise Refused("outside_window", sentence(outside, by), "to" if by.to else "days")
    for duty in duties:
        to = by.of(duty)
        duty.shifted_to, duty.shifted_why = to, why.strip() if to else ""
        duty.due_on = to or duty.due_on
        stand(duty, actor.date_at(duty.site.time_zone))
        duty.save(by=actor, verb="shifted", text=why.strip())
    return list(duties)


def fits(duty: Duty, to: date | None) -> bool:
    return to is None or duty.window_opens_on <= to <= duty.latest_on


def sentence(outside: Sequence[Duty], by: Shift) -> str:
    named = [
        f"{duty.requirement} of {duty.thing} at {duty.site} ({day(duty.window_opens_on)} to "
        f"{day(duty.latest_on)})"
        for duty in outside[:NAMED]
    ]
    more = len(outside) - len(named)
    rest = f" and {more} more" if more > 0 else ""
    return (
        f"Nothing is moved: {len(outside)} would fall outside their windows: "
        f"{'; '.join(named)}{rest}. Later than the last day needs other terms with the "
        "authority's consent."
    )
