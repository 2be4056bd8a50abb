"""What the schedule has to know of records and events. By value: records stand above this app."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from itm.registry.models import Site
from itm.schedule.due import Result, in_order
from itm.schedule.models import Happening, Requirement
from itm.schedule.rules import Slot
from itm.schedule.things import Hook, Thing, filled

Event, Task = Requirement.Event, Requirement.Task
# A test or check counts for every row that asks for one.
ANY_ROW: Slot = ("", "")
Asked = tuple[Hook, Slot]


@dataclass(frozen=True)
class Done:
    """A task was done on a thing on a day. `proves` is no where the result asks for it again."""

    hook: Hook
    slot: Slot
    task: str
    done_on: date
    key: UUID
    proves: bool = True


@dataclass
class History:
    """Everything that was done or happened at one site, whatever the order in which it came in."""

    tests: dict[int, list[Result]] = field(default_factory=dict)  # by proportioner
    done: list[Done] = field(default_factory=list)
    out_of_order: dict[int, list[date]] = field(default_factory=dict)  # by system
    planned: list[date] = field(default_factory=list)  # flow tests to come
    # Days of what older papers report, by thing and row.
    reported: dict[Asked, list[date]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._by_slot: dict[tuple[Hook, Slot], list[Result]] = defaultdict(list)
        self._checks: dict[Hook, list[Result]] = defaultdict(list)
        for done in self.done:
            self._sort_in(done)

    def add(self, done: Done) -> None:
        self.done.append(done)
        self._sort_in(done)

    def _sort_in(self, done: Done) -> None:
        limits = "in band" if done.proves else "outside limits"
        result = Result(done.done_on, limits, "settled", done.task, "as_found", done.key)
        self._by_slot[done.hook, done.slot].append(result)
        if done.task == Requirement.Task.CONCENTRATE_CHECK:
            self._checks[done.hook].append(result)

    def papers(self, thing: Thing, slot: Slot, task: str) -> list[date]:
        """Days on which older papers show this work done, from before its first record.

        Among records a paper is no record: it would wipe out the cycles before it.
        """
        any_row = task in (Task.PROPORTIONING_TEST, Task.CONCENTRATE_CHECK)
        reported = self.reported.get((thing.hook, ANY_ROW if any_row else slot), [])
        if not reported:
            return []
        held = self.results(thing, slot, task)
        first = min((one.tested_on for one in held), default=date.max)
        return [day for day in reported if day <= first]

    def results(self, thing: Thing, slot: Slot, task: str) -> list[Result]:
        """A test or check counts for every row that asks for one; an inspection for its own."""
        if task == Requirement.Task.PROPORTIONING_TEST:
            return in_order(self.tests.get(thing.row.pk, []))
        if task == Requirement.Task.CONCENTRATE_CHECK:
            return in_order(self._checks[thing.hook])
        return in_order(self._by_slot[thing.hook, slot])


@dataclass(frozen=True)
class Occurred:
    """An event at one system or tank; with neither, at the whole site."""

    event: str
    on: date
    system: int | None = None
    tank: int | None = None

    def touches(self, thing: Thing) -> bool:
        if self.system is not None:
            return self.system in thing.systems
        return self.tank is None or self.tank in thing.tanks


def noted_at(sites: Iterable[Site]) -> dict[int, list[Occurred]]:
    """What people noted, by site. One query."""
    out: dict[int, list[Occurred]] = defaultdict(list)
    rows = Happening.objects.filter(site__in=[site.pk for site in sites], withdrawn_on=None)
    for one in rows:
        out[one.site_id].append(Occurred(one.kind, one.happened_on, one.system_id))
    return out


def occurred(
    things: Iterable[Thing], history: History, noted: Iterable[Occurred]
) -> list[Occurred]:
    """All events of a site: what people noted, and what tanks and records tell."""
    out = list(noted)
    for thing in things:
        pk = thing.row.pk
        if thing.link == "system" and thing.begun is not None:
            out.append(Occurred(Event.COMMISSIONING, thing.begun, pk))
            out += [Occurred(Event.INOPERABLE, on, pk) for on in history.out_of_order.get(pk, [])]
        elif thing.link == "proportioner":
            (system,) = thing.systems
            days = {result.tested_on for result in history.tests.get(pk, [])}
            out += [Occurred(Event.FLOW_TEST, on, system) for on in sorted(days)]
        elif thing.link == "tank":
            out += of_tank(thing)
    return [*out, *(Occurred(Event.PLANNED_FLOW_TEST, on) for on in history.planned)]


def of_tank(thing: Thing) -> list[Occurred]:
    out, before = [], None
    for on, lot in filled(thing.row):  # type: ignore[arg-type]
        out.append(Occurred(Event.FILL, on, tank=thing.row.pk))
        if before is not None and lot.pk != before:
            out.append(Occurred(Event.LOT_CHANGE, on, tank=thing.row.pk))
        before = lot.pk
    return out
