"""The cycles that a thing should have: rules, records and events read together. No writes."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from itm.registry.models import Proportioner, Site
from itm.schedule.applies import applies
from itm.schedule.chains import (
    Claim,
    Segment,
    chained,
    event_cycles,
    once_cycle,
    segments,
)
from itm.schedule.due import Cycle, Result, in_order, retest_cycles
from itm.schedule.history import History, Occurred, occurred
from itm.schedule.models import Requirement
from itm.schedule.rules import Slot, adoptions_of, claims, overseen, window_of
from itm.schedule.things import Thing, proportioner_thing

Task = Requirement.Task
# These two hold everywhere, so that their past is known from commissioning on; what was adopted
# later counts from its adoption.
EVERYWHERE = (Task.PROPORTIONING_TEST, Task.CONCENTRATE_CHECK)
USUAL_SAMPLES = 3  # of a flow point; common practice, no published source
Wanted = dict[int, list[Cycle]]  # by requirement


@dataclass(frozen=True)
class Rules:
    """What holds at one site: the claims of each task, and the rows that hold everywhere."""

    claims: Mapping[Slot, list[Claim]]
    everywhere: Sequence[Requirement]


def rules_at(site: Site) -> Rules:
    [found] = rules_of([site])
    return found


def rules_of(sites: Sequence[Site]) -> list[Rules]:
    """For each site, in a fixed number of queries; sites under the same adoptions share theirs."""
    rows = Requirement.objects.filter(programme__everywhere=True).select_related("programme")
    everywhere, overseers = list(rows), overseen(sites)
    made: dict[object, Rules] = {}
    out = []
    for site, held in zip(sites, adoptions_of(sites, overseers), strict=True):
        until = overseers[site.pk]
        key = (tuple(adoption.pk for adoption in held), frozenset(until.items()))
        if key not in made:
            made[key] = Rules(claims(held, until), everywhere)
        out.append(made[key])
    return out


@dataclass(frozen=True)
class Line:
    """One task on one thing through all editions."""

    slot: Slot
    task: str
    parts: list[Segment]


def lines(thing: Thing, rules: Rules, tasks: Collection[str]) -> list[Line]:
    """Where nothing was adopted for the test or the check, the row that holds everywhere does."""
    out: list[Line] = []
    for slot in sorted(rules.claims):
        fitting = [
            claim for claim in rules.claims[slot] if applies(claim.rule.applies_to, thing.answers)
        ]
        by_task: dict[str, list[Claim]] = defaultdict(list)
        for claim in fitting:
            by_task[claim.rule.task].append(claim)
        out += [Line(slot, task, segments(held)) for task, held in by_task.items()]
    for row in rules.everywhere:
        if not applies(row.applies_to, thing.answers):
            continue
        slot, base = (row.programme.code, row.code), Claim(date.min, None, -1, row, window_of(row))
        first = next((n for n, line in enumerate(out) if timed(line, row.task)), None)
        if first is None:
            out.append(Line(slot, row.task, segments([base])))
        else:
            held = [claim for claim in rules.claims[out[first].slot] if claim.rule.task == row.task]
            out[first] = replace(out[first], parts=segments([base, *held]))
    return [line for line in out if line.task in tasks]


def timed(line: Line, task: str) -> bool:
    return line.task == task and any(part.window for part in line.parts)


def samples_wanted(device: Proportioner, on: date) -> int:
    """Fewest samples of a flow point that the rows asked of this device on that day want: the
    evidence `samples` of its proportioning test with a lower limit; the strictest of several."""
    test = [Task.PROPORTIONING_TEST.value]
    there = lines(proportioner_thing(device), rules_at(device.system.site), test)
    rules = [[p.rule for p in line.parts if p.starts_on <= on and p.rule][-1:] for line in there]
    asked = [
        int(want["lower"])
        for held in rules
        for rule in held
        for want in rule.evidence
        if want["key"] == "samples" and "lower" in want
    ]
    return max(asked, default=USUAL_SAMPLES)


def wanted_of(
    thing: Thing, rules: Rules, history: History, events: Iterable[Occurred],
    tasks: Collection[str] = tuple(Task.values),
) -> Wanted:  # fmt: skip
    """Cycles by requirement, in the order in which they begin."""
    out: Wanted = defaultdict(list)
    if thing.begun is None:
        return out
    here = [event for event in events if event.touches(thing)]
    retested = False
    for line in lines(thing, rules, tasks):
        results = history.results(thing, line.slot, line.task)
        papers = history.papers(thing, line.slot, line.task)
        for rule, cycle in cycles_of(thing, line, results, papers, here):
            out[rule.pk].append(cycle)
        if line.task in EVERYWHERE and not retested and timed(line, line.task):
            retested = True
            for cycle in retest_cycles(in_order(results)):
                held = rule_on(line.parts, cycle.counts_from)
                if held is not None:
                    out[held.pk].append(cycle)
    for cycles in out.values():
        cycles.sort(key=lambda cycle: (cycle.counts_from, cycle.cause))
    return out


def cycles_of(
    thing: Thing, line: Line, results: Sequence[Result], papers: Sequence[date],
    events: Sequence[Occurred],
) -> list[tuple[Requirement, Cycle]]:  # fmt: skip
    """`papers` are the days on which older papers show the work done, before its first record."""
    begun = thing.begun or date.min
    conditions = {part.rule.condition for part in line.parts if part.rule is not None}
    if Requirement.Condition.CONCENTRATE_OLD in conditions:
        if thing.old_on is None:
            return []
        begun = max(begun, thing.old_on)
    since_adopted = line.task not in EVERYWHERE
    made: list[tuple[Requirement, Cycle]] = []
    for rule, cycle in chained(
        line.parts, begun, results, papers=papers, from_adoption=since_adopted
    ):
        made.append((rule, cycle))
    for rule in {part.rule for part in line.parts if part.rule and part.window is None}:
        made += [(rule, cycle) for cycle in untimed(rule, line.parts, results, events)]
    return made


def untimed(
    rule: Requirement, parts: Sequence[Segment], results: Sequence[Result],
    events: Iterable[Occurred],
) -> list[Cycle]:  # fmt: skip
    """What an event or a day brings on, while the row holds."""
    if rule.by_date is not None:
        asked_on = next(part.starts_on for part in parts if part.rule == rule)
        cycle = once_cycle(asked_on, rule.by_date, results)
        ended = parts[-1].rule != rule
        return [] if ended and cycle.done_on is None else [cycle]
    days = [
        event.on
        for event in events
        if event.event in rule.events and rule_on(parts, event.on) == rule
    ]
    return event_cycles(days, rule.within_days or 0, results)


def rule_on(parts: Sequence[Segment], day: date) -> Requirement | None:
    ruling = [part for part in parts if part.starts_on <= day]
    return ruling[-1].rule if ruling else None


def everything(
    things: Sequence[Thing], rules: Rules, history: History, noted: Iterable[Occurred]
) -> list[Wanted]:
    """For each thing of a site."""
    events = occurred(things, history, noted)
    return [wanted_of(thing, rules, history, events) for thing in things]
