"""Writes of the schedule. All may run twice and work inside the caller's transaction."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Min

from itm.accounts.actor import Actor
from itm.registry.models import FoamSystem, Proportioner, Tank
from itm.schedule.due import Cycle, Result, Window, cycles
from itm.schedule.models import Duty, Requirement
from itm.schedule.standing import WAYS, stand

Device = Proportioner | Tank


@transaction.atomic
def refresh(*, actor: Actor, proportioner: Proportioner, results: Iterable[Result]) -> None:
    """Bring the rows in line with the device's whole history; write only what differs.

    `results` are all sealed records of the device that no sealed amendment corrects, those of one
    day and phase in the order they were made.
    """
    history = list(results)
    started_on = first_counts_from(proportioner)
    for requirement in requirements(Requirement.Task.PROPORTIONING_TEST):
        wanted = cycles(window_of(requirement), started_on, history)
        reconcile(actor, requirement, proportioner, wanted)


@transaction.atomic
def start_duties(
    *, actor: Actor, proportioner: Proportioner | None = None, tank: Tank | None = None
) -> None:
    """First cycle of each duty of a new device, from the day its system was commissioned.

    Run again after that day was corrected, it moves the first cycle, unless one was already done.
    A tank without a proportioner protects nothing yet and gets its duty with the first one.
    """
    if proportioner is not None:
        begun = first_counts_from(proportioner)
        start(actor, Requirement.Task.PROPORTIONING_TEST, proportioner, begun)
    if tank is not None:
        fed = FoamSystem.objects.filter(proportioners__tank=tank)
        first: date | None = fed.aggregate(first=Min("commissioned_on"))["first"]
        if first is not None:
            begun = max(first, tank.earlier_check_on or first)
            start(actor, Requirement.Task.CONCENTRATE_CHECK, tank, begun)


def first_counts_from(proportioner: Proportioner) -> date:
    """The day of commissioning, or of the last test that older papers show."""
    commissioned = proportioner.system.commissioned_on
    return max(commissioned, proportioner.earlier_test_on or commissioned)


def start(actor: Actor, task: str, device: Device, begun: date) -> None:
    for requirement in requirements(task):
        rows = rows_of(requirement, device)
        if not any(row.done_on or row.cause == Duty.Cause.RETEST for row in rows):
            reconcile(actor, requirement, device, cycles(window_of(requirement), begun, []))


def requirements(task: str) -> list[Requirement]:
    return list(Requirement.objects.filter(programme__everywhere=True, task=task))


def window_of(requirement: Requirement) -> Window:
    """Of a row with an interval."""
    earliest, interval, latest = requirement.earliest, requirement.interval, requirement.latest
    if earliest is None or interval is None or latest is None:
        raise ValueError(f"{requirement.code} has no interval.")
    return Window(earliest=earliest, interval=interval, latest=latest)


def rows_of(requirement: Requirement, device: Device) -> list[Duty]:
    rows = Duty.objects.filter(requirement=requirement, withdrawn_on=None, **link(device))
    return list(rows.select_related(*WAYS).order_by("counts_from", "pk"))


def link(device: Device) -> dict[str, Any]:
    return {"tank" if isinstance(device, Tank) else "proportioner": device}


def reconcile(
    actor: Actor, requirement: Requirement, device: Device, wanted: Sequence[Cycle]
) -> None:
    """Make the rows say what the cycles say.

    Rows are withdrawn, never deleted: an amendment can take back the verdict that opened a retest.
    Withdrawals and completions go first, since a device has one open cycle of a kind.
    """
    site = device.site if isinstance(device, Tank) else device.system.site
    today = actor.date_at(site.time_zone)
    pairs, surplus, missing = paired(rows_of(requirement, device), wanted)
    for row in surplus:
        row.withdrawn_on = actor.today
        stand(row, today)
        row.save(
            by=actor, verb="withdrawn", text="The records as they now stand do not ask for it."
        )
    for row, cycle in sorted(pairs, key=lambda pair: pair[1].done_on is None):
        for name, value in values(cycle).items():
            setattr(row, name, value)
        stand(row, today)
        row.save(by=actor)
    for cycle in sorted(missing, key=lambda cycle: cycle.done_on is None):
        row = Duty(site=site, requirement=requirement, **link(device), **values(cycle))
        stand(row, today)
        row.save(by=actor)


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
