"""What is due under rules that change: editions adopted on a day, tightened on another, or left.

Pure: dates in, cycles out. Each cycle comes with the rule it is one of.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from itm.schedule.due import Cycle, Result, Window, periodic_cycle

# The rule is whatever names it to the caller; equal where it is the same.
Ruled = tuple[Any, Cycle]
# How long before its last day a task opens that has to be done before an event: own choice.
BEFORE = timedelta(days=30)


@dataclass(frozen=True)
class Segment:
    """From this day on the rule and its window hold; without a rule, nothing is asked."""

    starts_on: date
    rule: Any = None
    window: Window | None = None


@dataclass(frozen=True)
class Claim:
    """What an adopter says over some days. The higher rank wins, then the later start."""

    starts_on: date
    ends_on: date | None
    rank: int
    rule: Any
    window: Window | None


def segments(claims: Iterable[Claim]) -> list[Segment]:
    """Days cut at every change, each with the claim that wins there; alike neighbours are one."""
    held = list(claims)
    ends = {claim.ends_on + timedelta(days=1) for claim in held if claim.ends_on is not None}
    out: list[Segment] = []
    for day in sorted({claim.starts_on for claim in held} | ends):
        there = [
            claim
            for claim in held
            if claim.starts_on <= day and (claim.ends_on is None or day <= claim.ends_on)
        ]
        best = max(there, key=lambda claim: (claim.rank, claim.starts_on), default=None)
        made = Segment(day, best.rule, best.window) if best else Segment(day)
        if not out or (out[-1].rule, out[-1].window) != (made.rule, made.window):
            out.append(made)
    return out


@dataclass(frozen=True)
class Ruling:
    """A segment that asks for something."""

    starts_on: date
    rule: Any
    window: Window


def runs(parts: Sequence[Segment]) -> list[tuple[list[Ruling], date | None]]:
    """Unbroken stretches under rules, each with the day on which it ends, if it does."""
    out: list[tuple[list[Ruling], date | None]] = []
    for place, part in enumerate(parts):
        if part.rule is None or part.window is None:
            continue
        ends = parts[place + 1].starts_on if place + 1 < len(parts) else None
        made = Ruling(part.starts_on, part.rule, part.window)
        if out and out[-1][1] == part.starts_on:
            out[-1] = ([*out[-1][0], made], ends)
        else:
            out.append(([made], ends))
    return out


def chained(
    parts: Sequence[Segment], begun: date, results: Sequence[Result], *, from_adoption: bool,
    papers: Sequence[date] = (),
) -> list[Ruled]:  # fmt: skip
    """Cycles under rules that follow each other, from results in the order of the work.

    `begun` is the day the thing came into service. What was never recorded before it was adopted
    (`from_adoption`) counts from the adoption: nobody is late for what nobody asked. `papers` are
    days on which older papers show it done, before the first result: it counts on from the newest.

    A cycle is of the rule that holds on the day it is done, or on its own latest day while it is
    not: what was missed under an edition stays its miss, and what was done stays as it was.
    """
    out: list[Ruled] = []
    for run, ends in runs(parts):
        days = [*(r.tested_on for r in results), *papers]
        known = [day for day in days if begun <= day <= run[0].starts_on]
        first = max(begun, run[0].starts_on) if from_adoption else begun
        later = [day for day in papers if day > run[0].starts_on and (ends is None or day < ends)]
        since = max([max(known, default=first), *later])
        out += one_run(run, ends, since, results, first=not (known or later))
    return out


def one_run(
    run: Sequence[Ruling],
    ends: date | None,
    counts_from: date,
    results: Sequence[Result],
    *,
    first: bool,
) -> list[Ruled]:
    place, cycle = settle(run, 0, counts_from, results, first=first)
    out: list[Ruled] = []
    for result in results:
        if ends is not None and result.tested_on >= ends:
            break
        if not counts(cycle, result):
            continue
        out.append((run[place].rule, replace(cycle, done_on=result.tested_on, done_by=result.key)))
        place, cycle = settle(run, place, result.tested_on, results)
    return out if ends is not None else [*out, (run[place].rule, cycle)]


def counts(cycle: Cycle, result: Result) -> bool:
    """Too early completes nothing, nor does the very work that the cycle counts from."""
    return result.tested_on >= cycle.window_opens_on and result.tested_on > cycle.counts_from


def settle(
    run: Sequence[Ruling],
    place: int,
    counts_from: date,
    results: Sequence[Result],
    *,
    first: bool = False,
) -> tuple[int, Cycle]:
    """The cycle that begins on this day, under the rule whose it is."""
    for at in range(place, len(run)):
        cycle = periodic_cycle(run[at].window, counts_from, first=first)
        if at + 1 == len(run):
            break
        after = run[at + 1].starts_on
        done = next((result.tested_on for result in results if counts(cycle, result)), None)
        if cycle.latest_on < after or (done is not None and done < after):
            break
    return at, cycle


def event_cycles(happened: Iterable[date], within: int, results: Sequence[Result]) -> list[Cycle]:
    """Each event asks once. What is done on its day or after it answers all that came before.

    Of two events without an answer between them, the first one's latest day stands. `within` below
    zero counts back from the event: it is to be done before that day.
    """
    out: list[Cycle] = []
    answered: date | None = None
    for day in sorted(set(happened)):
        if answered is not None and day <= answered:
            continue
        if out and out[-1].done_on is None:
            break
        last = day + timedelta(days=within)
        opens = min(day, last)
        cycle = Cycle("event", day, opens if within >= 0 else last - BEFORE, last, last)
        done = next((r for r in results if r.tested_on >= cycle.window_opens_on), None)
        if done is not None:
            answered = done.tested_on
            cycle = replace(cycle, done_on=done.tested_on, done_by=done.key)
        out.append(cycle)
    return out


def once_cycle(asked_on: date, by: date, results: Sequence[Result]) -> Cycle:
    """To be done once, by a day that the rule itself names."""
    cycle = Cycle("once", min(asked_on, by), min(asked_on, by), by, by)
    done = results[0] if results else None
    if done is None:
        return cycle
    return replace(cycle, done_on=done.tested_on, done_by=done.key)
