"""What the records of a site say to the schedule, and the duties that follow from them."""

from collections.abc import Iterable, Sequence

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.records import past
from itm.records.evaluate_check import proves
from itm.records.models import (
    ConcentrateCheck,
    InspectionLine,
    ProportioningTest,
    RestorationLine,
    Visit,
)
from itm.records.results import checks_in_force, in_force, result_of
from itm.registry.models import Site
from itm.schedule import services as schedule
from itm.schedule.history import ANY_ROW, Done, History
from itm.schedule.models import Requirement
from itm.schedule.services import Effect

AT_A_TIME = 100  # sites


def derive_site(*, actor: Actor, site: Site, why: str = "") -> Effect:
    """Bring every duty of the site in line with its rules, its equipment and its records.

    May run twice. `why` is what the history says of new duties, as one change for all of them.
    """
    return derive_sites(actor=actor, sites=[site], why=why)


def derive_sites(*, actor: Actor, sites: Iterable[Site], why: str) -> Effect:
    """All of them or none: the caller owns the transaction. What is read is read in a number of
    queries that grows only with every hundred sites."""
    held, out = list(sites), Effect()
    # One at a time a site: of two people who record at once the second sees the cycles of the
    # first. Rows that name the site are no hindrance to that lock.
    keys = [site.pk for site in held]
    list(Site.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))
    for start in range(0, len(held), AT_A_TIME):
        some = held[start : start + AT_A_TIME]
        histories = histories_of(some)
        out += schedule.derive(actor=actor, sites=some, histories=histories, why=why)
    return out


def histories_of(sites: Sequence[Site]) -> list[History]:
    """Of all the sites in a fixed number of queries."""
    out = {site.pk: History() for site in sites}
    for test in in_force(ProportioningTest.objects.filter(site__in=out)):
        out[test.site_id].tests.setdefault(test.proportioner_id, []).append(result_of(test))
    for check in checks_in_force(ConcentrateCheck.objects.filter(site__in=out)):
        out[check.site_id].add(
            Done(
                hook=("tank", check.tank_id),
                slot=ANY_ROW,
                task=Requirement.Task.CONCENTRATE_CHECK,
                done_on=check.checked_on,
                key=check.key,
                proves=proves(check),
            )
        )
    for line in lines_in_force(out):
        out[line.inspection.site_id].add(
            Done(
                hook=line.hook,
                slot=(line.requirement.programme.code, line.requirement.code),
                task=line.requirement.task,
                done_on=line.inspection.done_on,
                key=line.inspection.key,
            )
        )
    left = RestorationLine.objects.filter(visit__site__in=out, outcome="left_out")
    for one in left.select_related("proportioner", "visit__site"):
        if one.ended_at is not None:
            site, system = one.visit.site, one.proportioner.system_id
            on = date_at(site.time_zone, one.ended_at)
            out[site.pk].out_of_order.setdefault(system, []).append(on)
    for at, reported in past.days_at(out).items():
        out[at].reported.update(reported)
    planned = Visit.objects.filter(site__in=out, started_at=None, tests__isnull=False)
    for at, on in planned.order_by("planned_on").values_list("site", "planned_on").distinct():
        out[at].planned.append(on)
    return [out[site.pk] for site in sites]


def lines_in_force(sites: Iterable[int]) -> QuerySet[InspectionLine]:
    """Those that say that the task was done; found in order or not, it was looked at."""
    lines = InspectionLine.objects.filter(inspection__site__in=list(sites), corrected_by=None)
    lines = lines.exclude(outcome=InspectionLine.Outcome.NOT_POSSIBLE)
    lines = lines.select_related("inspection", "requirement__programme")
    return lines.order_by("inspection__done_on", "pk")
