"""What a person may read of inspections, and what there is to inspect."""

from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.records.inspecting import OTHERWISE
from itm.records.models import Inspection, InspectionLine, Visit
from itm.registry.finding import Wanted
from itm.registry.models import Site
from itm.schedule.models import Duty
from itm.schedule.models.duties import LINKS
from itm.schedule.queries import open_duties
from itm.schedule.services import hook_of
from itm.schedule.told import READ

READ_OF_DUTY = ("requirement__programme", *READ)
NOW = ("overdue", "due", "open")
OUTCOMES = InspectionLine.Outcome.choices
MOST_SITES = 200  # own choice: as many as open visits
SORTS = {"day": "done_on", "site": "site__name", "person": "person"}
NARROWS = {"site": "site__key", "since": "done_on__gte", "until": "done_on__lte"}


def to_inspect(actor: Actor, site: Site, *, ahead: bool = False) -> list[Duty]:
    """Open cycles at the site that a form completes, in the order of a walk: by system, thing and
    task. `ahead` brings those whose window is not open yet: done now they complete nothing."""
    return [row for row in asked_at(actor, site, ahead=ahead) if not by_own_record(row)]


def asked_at(actor: Actor, site: Site, *, ahead: bool) -> list[Duty]:
    """Also those that a record of their own completes."""
    rows = open_duties(actor).filter(site=site)
    if not ahead:
        rows = rows.filter(stands__in=NOW)
    found = rows.select_related(*READ_OF_DUTY)
    return sorted(found, key=walk)


def by_own_record(duty: Duty) -> bool:
    return duty.requirement.task in OTHERWISE


def walk(duty: Duty) -> tuple[str, int, str, int]:
    thing = duty.thing
    system = duty.system or getattr(thing, "system", None)
    order = getattr(thing, "walk_order", None)
    return (
        str(system or ""),
        order if order is not None else 32000,
        str(thing),
        duty.requirement.position,
    )


def not_possible_before(duties: Iterable[Duty]) -> dict[int, InspectionLine]:
    """The latest time that somebody could not do it since the cycle began, by duty."""
    held = {(duty.requirement_id, *hook_of(duty)): duty for duty in duties}
    lines = InspectionLine.objects.filter(
        inspection__site__in={duty.site_id for duty in held.values()},
        outcome=InspectionLine.Outcome.NOT_POSSIBLE,
        corrected_by=None,
    )
    out: dict[int, InspectionLine] = {}
    for line in lines.select_related("inspection").order_by("inspection__done_on", "pk"):
        duty = held.get((line.requirement_id, *line.hook))
        if duty is not None and line.inspection.done_on >= duty.counts_from:
            out[duty.pk] = line
    return out


def inspections(actor: Actor) -> QuerySet[Inspection]:
    """With how many lines were done, not in order, and not possible."""
    lines = Inspection.objects.visible_to(actor).select_related("site__owner", "organisation")
    return lines.annotate(
        done=Count("lines", filter=~Q(lines__outcome="not_possible")),
        faults=Count("lines", filter=Q(lines__outcome="fault")),
        not_possible=Count("lines", filter=Q(lines__outcome="not_possible")),
    )


def listed(actor: Actor, wanted: Wanted) -> QuerySet[Inspection]:
    """Newest day first, unless another order is asked for."""
    rows = inspections(actor)
    if wanted.find:
        named = Q(site__name__icontains=wanted.find) | Q(person__icontains=wanted.find)
        rows = rows.filter(named)
    rows = rows.filter(**{NARROWS[name]: value for name, value in wanted.narrow.items()})
    name = SORTS.get(wanted.sort.removeprefix("-"), "done_on")
    up = wanted.sort in SORTS
    return rows.order_by(name if up else f"-{name}", "-pk")


def inspection(actor: Actor, key: UUID) -> Inspection:
    row = inspections(actor).filter(key=key).first()
    if row is None:
        raise NotFound("inspection", key)
    return row


def lines_of(row: Inspection) -> QuerySet[InspectionLine]:
    """With what corrects each, and what it corrects."""
    return row.lines.select_related(
        "corrected_by__inspection", "corrects__inspection", "requirement"
    )


def duty_at(site: Site, key: UUID) -> Duty:
    """A cycle at a site, done meanwhile or not. For code that holds the site or a visit of it by
    right: its crew may hand over what it saw when it is engaged no more. Raises NotFound."""
    rows = Duty.objects.filter(site=site, key=key)
    row = rows.select_related(*READ_OF_DUTY).first()
    if row is None:
        raise NotFound("duty", key)
    return row


def stands_on(duty: Duty, done_on: date) -> InspectionLine | None:
    """What says that this task was done on this very thing and day, through all editions of its
    programme; the latest where several do."""
    task, links = duty.requirement, {name: getattr(duty, name) for name in LINKS}
    lines = InspectionLine.objects.filter(
        inspection__site=duty.site_id, inspection__done_on=done_on, corrected_by=None,
        requirement__code=task.code, requirement__programme__code=task.programme.code, **links,
    )  # fmt: skip
    done = lines.exclude(outcome=InspectionLine.Outcome.NOT_POSSIBLE)
    return done.select_related("inspection__organisation", "requirement").order_by("pk").last()


def lines_during(visit: Visit) -> QuerySet[InspectionLine]:
    """What was inspected on a visit and not corrected since. For code that holds it by right."""
    lines = InspectionLine.objects.filter(inspection__visit=visit, corrected_by=None)
    return lines.select_related("inspection", "requirement").order_by("pk")


def lines_of_day(actor: Actor, site: Site, on: date) -> QuerySet[InspectionLine]:
    """What the actor's organisation noted there on that day without a visit."""
    lines = InspectionLine.objects.filter(
        inspection__site=site, inspection__visit=None, inspection__done_on=on, corrected_by=None,
        inspection__organisation=actor.organisation_id,
    )  # fmt: skip
    return lines.select_related("inspection", "requirement").order_by("pk")


def sites_to_inspect(actor: Actor) -> list[Any]:
    """The actor's own sites with something to inspect (`to_do`), the most first; `MOST_SITES` at
    most, because the page of each site leads there too."""
    asked = Q(duties__done_on=None, duties__withdrawn_on=None, duties__stands__in=NOW)
    form = ~Q(duties__requirement__task__in=OTHERWISE)
    rows = Site.objects.visible_to(actor).filter(owner=actor.organisation_id, retired_on=None)
    counted = rows.annotate(to_do=Count("duties", filter=asked & form, distinct=True)).filter(
        to_do__gt=0
    )
    return list(counted.select_related("owner").order_by("-to_do", "name", "pk")[:MOST_SITES])


def line(actor: Actor, key: UUID) -> InspectionLine:
    seen = Inspection.objects.visible_to(actor).values("pk")
    rows = InspectionLine.objects.filter(key=key, inspection__in=seen)
    row = rows.select_related("inspection__site", "inspection__organisation", "requirement").first()
    if row is None:
        raise NotFound("line of an inspection", key)
    return row
