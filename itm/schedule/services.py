"""Writes of the schedule. All may run twice and work inside the caller's transaction."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.history import bulk
from itm.registry.models import Proportioner, Site, Tank
from itm.schedule import rules
from itm.schedule.deriving import EVERYWHERE, Wanted, everything, rules_at, rules_of, wanted_of
from itm.schedule.due import Cycle, Result, Window
from itm.schedule.history import Asked, History, noted_at
from itm.schedule.models import Duty, Requirement
from itm.schedule.models.duties import LINKS
from itm.schedule.standing import WAYS, stand
from itm.schedule.things import Thing, proportioner_thing, tank_thing, things_of

TEST, CHECK = EVERYWHERE
Reported = Mapping[Asked, list[date]]


@transaction.atomic
def refresh(
    *, actor: Actor, proportioner: Proportioner, results: Iterable[Result],
    reported: Reported | None = None,
) -> None:  # fmt: skip
    """Bring the tests of a device in line with its whole history; write only what differs.

    `results` are all sealed records of the device that no sealed amendment corrects, those of one
    day and phase in the order they were made.
    """
    thing = proportioner_thing(proportioner)
    history = History(tests={proportioner.pk: list(results)}, reported=dict(reported or {}))
    site = proportioner.system.site
    wanted = wanted_of(thing, rules_at(site), history, [], [TEST])
    settle(actor, [(site, [(thing, wanted)])], [TEST])


@transaction.atomic
def start_duties(
    *, actor: Actor, proportioner: Proportioner | None = None, tank: Tank | None = None,
    reported: Reported | None = None,
) -> None:  # fmt: skip
    """First cycle of test and check of a new device, from the day its system was commissioned.

    Run again after that day was corrected, it moves the first cycle, unless one was already done.
    A tank without a proportioner protects nothing yet and gets its duty with the first one.
    `reported` are the days of tests and checks that older papers show.
    """
    history = History(reported=dict(reported or {}))
    if proportioner is not None:
        start(actor, proportioner.system.site, proportioner_thing(proportioner), TEST, history)
    if tank is not None:
        # Whatever it ever fed: a device that has retired does not make the tank any younger.
        fed = Proportioner.objects.filter(tank=tank).select_related("system")
        start(actor, tank.site, tank_thing(tank, fed), CHECK, history)


def start(actor: Actor, site: Site, thing: Thing, task: str, history: History) -> None:
    rows = Duty.objects.filter(**link(thing), requirement__task=task, withdrawn_on=None)
    if any(row.done_on or row.cause != Duty.Cause.PERIODIC for row in rows):
        return
    wanted = wanted_of(thing, rules_at(site), history, [], [task])
    settle(actor, [(site, [(thing, wanted)])], [task])


@dataclass(frozen=True)
class Effect:
    """How many cycles began and how many gave way, at how many sites."""

    sites: int = 0
    begun: int = 0
    gone: int = 0

    def __add__(self, other: "Effect") -> "Effect":
        return Effect(self.sites + other.sites, self.begun + other.begun, self.gone + other.gone)


@transaction.atomic
def derive(
    *, actor: Actor, sites: Sequence[Site], histories: Sequence[History], why: str = ""
) -> Effect:
    """Everything that is due at the sites, from their rules, records and events; only what differs
    is written, and the queries that read do not grow with the sites. New cycles are noted as one
    change, with `why`."""
    noted = noted_at(sites)
    read = zip(sites, things_of(sites), rules_of(sites), histories, strict=True)
    held: list[tuple[Site, Pairs]] = []
    for site, things, ruling, history in read:
        wanted = everything(things, ruling, history, noted[site.pk])
        held.append((site, list(zip(things, wanted, strict=True))))
    return settle(actor, held, list(Requirement.Task.values), why)


Pairs = Sequence[tuple[Thing, Wanted]]


def settle(
    actor: Actor, held: Sequence[tuple[Site, Pairs]], tasks: Collection[str], why: str = ""
) -> Effect:
    """Withdrawals and completions of all rows go first: one cycle of a kind is open at a time."""
    there = rows_by_thing(held, tasks)
    new: list[Duty] = []
    gone = 0
    for site, pairs in held:
        today = actor.date_at(site.time_zone)
        for thing, wanted in pairs:
            missing, surplus = settle_thing(actor, wanted, there[thing.hook], today)
            gone += surplus
            for requirement, cycle in missing:
                row = Duty(site=site, requirement_id=requirement, **link(thing), **values(cycle))
                stand(row, today)
                new.append(row)
    create(actor, new, why)
    return Effect(len(held), len(new), gone)


def rows_by_thing(
    held: Sequence[tuple[Site, Pairs]], tasks: Collection[str]
) -> dict[tuple[str, int], list[Duty]]:
    """Rows in force of all the sites, by what they hang on. One query."""
    rows = Duty.objects.filter(
        site__in=[site.pk for site, _ in held], requirement__task__in=tasks, withdrawn_on=None
    )
    if len(held) == 1 and len(held[0][1]) == 1:
        rows = rows.filter(**link(held[0][1][0][0]))
    out: dict[tuple[str, int], list[Duty]] = defaultdict(list)
    for row in rows.select_related(*WAYS).order_by("counts_from", "pk"):
        out[hook_of(row)].append(row)
    return out


def settle_thing(
    actor: Actor, wanted: Wanted, rows: Sequence[Duty], today: date
) -> tuple[list[tuple[int, Cycle]], int]:
    """Cycles without a row, each with its requirement, and how many rows gave way."""
    by_requirement: dict[int, list[Duty]] = defaultdict(list)
    for row in rows:
        by_requirement[row.requirement_id].append(row)
    new: list[tuple[int, Cycle]] = []
    gone = 0
    for requirement in sorted({*wanted, *by_requirement}):
        cycles = wanted.get(requirement, [])
        missing, surplus = reconcile(actor, by_requirement[requirement], cycles, today)
        gone += surplus
        new += [(requirement, cycle) for cycle in missing]
    return new, gone


def create(actor: Actor, new: Sequence[Duty], why: str) -> None:
    if why:
        if new:
            with bulk(actor, "created", Duty, f"{len(new)} duties: {why}"):
                Duty.objects.bulk_create(new)
        return
    for row in sorted(new, key=lambda row: row.done_on is None):
        row.save(by=actor)


def hook_of(row: Duty) -> tuple[str, int]:
    for name in LINKS:
        if (pk := getattr(row, f"{name}_id")) is not None:
            return name, pk
    return "", row.site_id


def window_of(requirement: Requirement) -> Window:
    """Of a row with an interval."""
    window = rules.window_of(requirement)
    if window is None:
        raise ValueError(f"{requirement.code} has no interval.")
    return window


def link(thing: Thing) -> dict[str, Any]:
    return {**dict.fromkeys(LINKS), **({thing.link: thing.row} if thing.link else {})}


def reconcile(
    actor: Actor, rows: Sequence[Duty], wanted: Sequence[Cycle], today: date
) -> tuple[list[Cycle], int]:
    """Make the rows of one requirement on one thing say what the cycles say; cycles that have no
    row yet are handed back, and how many rows were withdrawn.

    Rows are withdrawn, never deleted: an amendment can take back the verdict that opened a retest.
    """
    pairs, surplus, missing = paired(rows, wanted)
    for row in surplus:
        row.withdrawn_on = actor.today
        stand(row, today)
        row.save(
            by=actor, verb="withdrawn", text="Rules and records as they now stand do not ask it."
        )
    for row, cycle in sorted(pairs, key=lambda pair: pair[1].done_on is None):
        for name, value in shifted(row, cycle).items():
            setattr(row, name, value)
        stand(row, today)
        row.save(by=actor)
    return missing, len(surplus)


def shifted(row: Duty, cycle: Cycle) -> dict[str, Any]:
    """The cycle's dates; a due date that people moved stays moved while it fits the window."""
    out = values(cycle)
    to = row.shifted_to if cycle.counts_from == row.counts_from else None
    if to is not None and cycle.window_opens_on <= to <= cycle.latest_on:
        return {**out, "due_on": to}
    return {**out, "shifted_to": None, "shifted_why": ""}


def paired(
    rows: Sequence[Duty], wanted: Sequence[Cycle]
) -> tuple[list[tuple[Duty, Cycle]], list[Duty], list[Cycle]]:
    """Each row with the cycle it stands for, rows without a cycle, cycles without a row.

    The day a cycle counts from tells it apart; what an amendment moved to another day is paired in
    order, so that a cycle keeps its key.
    """
    waiting: dict[tuple[str, date], list[Duty]] = defaultdict(list)
    for row in rows:
        waiting[row.cause, row.counts_from].append(row)
    pairs, missing = [], []
    for cycle in wanted:
        same = waiting[cycle.cause, cycle.counts_from]
        if same:
            pairs.append((same.pop(0), cycle))
        else:
            missing.append(cycle)
    taken = {row.pk for row, _ in pairs}
    surplus = [row for row in rows if row.pk not in taken]
    for cycle in list(missing):
        moved = next((row for row in surplus if row.cause == cycle.cause), None)
        if moved is not None:
            pairs.append((moved, cycle))
            surplus.remove(moved)
            missing.remove(cycle)
    return pairs, surplus, missing


def values(cycle: Cycle) -> dict[str, Any]:
    return {
        "cause": cycle.cause,
        "counts_from": cycle.counts_from,
        "window_opens_on": cycle.window_opens_on,
        "due_on": cycle.due_on,
        "latest_on": cycle.latest_on,
        "done_on": cycle.done_on,
        "done_by_record": cycle.done_by,
    }
