"""What the records of a site say to the schedule, and the duties that follow from them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.records.models import InspectionLine, ProportioningTest, RestorationLine, Visit
from itm.records.results import in_force, result_of
from itm.registry.models import Site
from itm.schedule import services as schedule
from itm.schedule.due import Result
from itm.schedule.history import Done, History
from itm.schedule.services import Effect


def derive_site(*, actor: Actor, site: Site, why: str = "") -> Effect:
    """Bring every duty of the site in line with its rules, its equipment and its records.

    May run twice. `why` is what the history says of new duties, as one change for all of them.
    """
    return schedule.derive(actor=actor, site=site, history=history_of(site), why=why)


def derive_sites(*, actor: Actor, sites: Iterable[Site], why: str) -> Effect:
    """All of them or none: the caller owns the transaction."""
    return sum((derive_site(actor=actor, site=site, why=why) for site in sites), Effect())


def history_of(site: Site) -> History:
    """In a fixed number of queries."""
    tests: dict[int, list[Result]] = defaultdict(list)
    for test in in_force(ProportioningTest.objects.filter(site=site)):
        tests[test.proportioner_id].append(result_of(test))
    planned = Visit.objects.filter(site=site, started_at=None, tests__isnull=False)
    days = planned.order_by("planned_on").values_list("planned_on", flat=True).distinct()
    return History(
        tests=tests, done=inspected(site), out_of_order=out_of_order(site), planned=list(days)
    )


def inspected(site: Site) -> list[Done]:
    """Lines in force that say that the task was done; found in order or not, it was looked at."""
    lines = InspectionLine.objects.filter(inspection__site=site, corrected_by=None)
    lines = lines.exclude(outcome=InspectionLine.Outcome.NOT_POSSIBLE)
    lines = lines.select_related("inspection", "requirement__programme")
    return [
        Done(
            hook=line.hook,
            slot=(line.requirement.programme.code, line.requirement.code),
            task=line.requirement.task,
            done_on=line.inspection.done_on,
            key=line.inspection.key,
        )
        for line in lines.order_by("inspection__done_on", "pk")
    ]


def out_of_order(site: Site) -> dict[int, list[date]]:
    """By system: the days on which something was left out of service."""
    lines = RestorationLine.objects.filter(visit__site=site, outcome="left_out")
    out: dict[int, list[date]] = defaultdict(list)
    for line in lines.select_related("proportioner"):
        if line.ended_at is not None:
            out[line.proportioner.system_id].append(date_at(site.time_zone, line.ended_at))
    return out
