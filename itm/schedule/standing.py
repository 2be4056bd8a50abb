"""The stored standing of duties: set with every write, compared by whoever wants to be sure."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.registry.models import Site
from itm.schedule.due import changes_on, standing
from itm.schedule.models import Duty

# What a duty hangs on, and what that hangs on: retired anywhere on the way, it asks for nothing.
WAYS = (
    "site",
    "proportioner",
    "proportioner__system",
    "tank",
    "equipment",
    "equipment__system",
    "system",
)
COLUMNS = ["stands", "stands_changes_on"]
AT_A_TIME = 2000


def stand(duty: Duty, today: date) -> None:
    """Set where the duty stands; `today` at its site. The only place that does, but for the sweep,
    which moves what is stored when a day passes."""
    if duty.done_on or duty.withdrawn_on or not in_use(duty):
        duty.stands, duty.stands_changes_on = Duty.Stands.AT_REST, None
        return
    dates = (duty.window_opens_on, duty.due_on, duty.latest_on)
    name = standing(*dates, today).name
    duty.stands, duty.stands_changes_on = Duty.Stands(name), changes_on(name, *dates)


def in_use(duty: Duty) -> bool:
    for way in WAYS:
        thing: Any = duty
        for step in way.split("__"):
            thing = getattr(thing, step) if thing is not None else None
        if thing is not None and thing.retired_on is not None:
            return False
    return True


@transaction.atomic
def restand_site(*, actor: Actor, site: Site) -> None:
    """After a change of the site's time zone, or of what is in use there. May run twice."""
    duties = Duty.objects.filter(site=site, done_on=None, withdrawn_on=None)
    write(differing(duties, actor))


def differing(duties: QuerySet[Duty], actor: Actor) -> Iterator[Duty]:
    """Duties whose stored standing is not what their dates say, each already put right."""
    rows = duties.select_related(*WAYS).order_by("pk")
    for duty in rows.iterator(chunk_size=AT_A_TIME):
        before = (duty.stands, duty.stands_changes_on)
        stand(duty, actor.date_at(duty.site.time_zone))
        if before != (duty.stands, duty.stands_changes_on):
            yield duty


def write(duties: Iterable[Duty]) -> int:
    """Past the history, on purpose: a standing says nothing that the dates of the row do not."""
    rows = list(duties)
    Duty._base_manager.bulk_update(rows, COLUMNS, batch_size=AT_A_TIME)
    return len(rows)
