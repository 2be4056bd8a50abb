"""What speaks for caution and stands in no reading: when, with what and how a bench was read.

The engine sees numbers alone. What it cannot know is said here once, as facts and without a guess
at anybody's reasons; the record keeps it by value, so that page, report and seal say the same.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from itm.records.models import Bench, Bottle, FlowRun, ProportioningTest, Reading
from itm.records.ordering import foam_order, sample_order, stopped_at
from itm.records.remarks import flow_remarks, sample_remark
from itm.records.repeatability import alike_within

OLD = timedelta(hours=24)  # own choice, no source: foam solution separates, water evaporates


class Circumstance(NamedTuple):
    """`where` is the thing it is said of, as people call it."""

    where: str
    text: str


def circumstances(test: ProportioningTest) -> list[Circumstance]:
    """Of a test as `loading.whole` gives it; asks the database nothing."""
    runs, bench = list(test.runs.all()), test.bench
    flows = [Circumstance(run.flow_point.name, text) for run in runs for text in flow_remarks(run)]
    begun, zone = test.visit.started_at, test.site.time_zone
    flows += [
        Circumstance(run.flow_point.name, text)
        for run in runs
        if (text := foam_order(begun, run.foam_seen_at, zone))
    ]
    if bench is None:
        return flows
    shared = list(bench.bottles.all())
    return [
        *flows,
        *_samples(test, runs),
        *_of_bench(bench, any(run.bottles.all() for run in runs)),
        *_temperatures(bench, [*shared, *_samples_of(runs)]),
        *_after_concentrate(bench, [*shared, *_samples_of(runs)]),
    ]


def _samples_of(runs: Iterable[FlowRun]) -> list[Bottle]:
    return [bottle for run in runs for bottle in run.bottles.all()]


def _samples(test: ProportioningTest, runs: Sequence[FlowRun]) -> Iterable[Circumstance]:
    begun, zone = test.visit.started_at, test.site.time_zone
    stopped = stopped_at(step.done_at for step in test.flush_steps.all())
    for run in runs:
        read = [bottle for bottle in run.bottles.all() if in_force(bottle)]
        if 0 < len(read) < test.samples_wanted:
            yield Circumstance(
                run.flow_point.name,
                f"{len(read)} sample{'s'[: len(read) > 1]} read where {test.samples_wanted} were "
                "asked for: whether the mixture was steady shows less, or not at all.",
            )
        for bottle in read:
            if text := sample_remark(run.foam_seen_at, bottle.taken_at):
                yield Circumstance(bottle.label, text)
            if text := sample_order(
                bottle.taken_at, started_at=begun, stopped_at=stopped,
                read_at=[r.read_at for r in in_force(bottle)], zone=zone,
            ):  # fmt: skip
                yield Circumstance(bottle.label, text)
            if text := age_remark(bottle.taken_at, [r.read_at for r in in_force(bottle)]):
                yield Circumstance(bottle.label, text)


def age_remark(taken_at: datetime | None, read_at: Sequence[datetime]) -> str:
    """Whether a sample stood so long that it may be another liquid by now."""
    if taken_at is None or not read_at or max(read_at) - taken_at <= OLD:
        return ""
    hours = (max(read_at) - taken_at).total_seconds() / 3600
    waited = f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
    return (
        f"Read {waited} after it was caught: foam solution separates and its water evaporates "
        f"(more than {OLD.total_seconds() / 3600:.0f} h: own choice, no source)."
    )


def _of_bench(bench: Bench, has_samples: bool) -> Iterable[Circumstance]:
    """What the crew said when it was asked."""
    if bench.compensation == Bench.Compensation.MIXED:
        yield Circumstance(
            "Bench",
            "Temperature compensation was on for some bottles and off for others: their readings "
            "have no line in common.",
        )
    if bench.bottles_were in (Bench.Bottles.WET, Bench.Bottles.USED):
        yield Circumstance(
            "Bench",
            f"The bottles were {bench.get_bottles_were_display()}: what was in them is in the "
            "readings. 5 mL of water in a bottle of 100 mL take 3.00 % to 2.86 %.",
        )
    if has_samples and bench.samples_kept == Bench.Kept.OPEN:
        yield Circumstance(
            "Bench",
            "The samples were left open: with 5 % of its water evaporated a sample of 3.00 % "
            "reads 3.15 %.",
        )
    waters = [bench.water_source.strip(), bench.system_water_source.strip()]
    own = any(in_force(b) for b in bench.bottles.all() if b.role == Bottle.Role.SYSTEM_WATER)
    if all(waters) and waters[0].casefold() != waters[1].casefold() and not own:
        yield Circumstance(
            "Bench",
            f"The standards were made with water from “{waters[0]}”, the discharge came from "
            f"“{waters[1]}”, and only one of them was read: what sets them apart is in every "
            "percent.",
        )


def _temperatures(bench: Bench, bottles: Sequence[Bottle]) -> Iterable[Circumstance]:
    """Where the instrument follows temperature, but not that one."""
    low, high = bench.instrument.compensates_from_c, bench.instrument.compensates_to_c
    if not bench.compensates or low is None or high is None:
        return
    for bottle in bottles:
        beyond = [
            r.temperature_c
            for r in in_force(bottle)
            if r.temperature_c is not None and not low <= r.temperature_c <= high
        ]
        if beyond:
            yield Circumstance(
                bottle.label,
                f"Read at {beyond[0].normalize():f} °C; the instrument compensates from "
                f"{low.normalize():f} to {high.normalize():f} °C only.",
            )


def _after_concentrate(bench: Bench, bottles: Sequence[Bottle]) -> Iterable[Circumstance]:
    """A first reading after the concentrate that its bottle's other readings do not confirm."""
    every = sorted(
        ((r, bottle) for bottle in bottles for r in bottle.readings.all()),
        key=lambda pair: (pair[0].read_at, pair[0].sequence),
    )
    limit = alike_within(bench.instrument)
    for (_, before), (reading, bottle) in pairwise(every):
        if before.role != Bottle.Role.CONCENTRATE or bottle.role == Bottle.Role.CONCENTRATE:
            continue
        others = [r.value for r in in_force(bottle) if r.pk != reading.pk]
        if reading.set_aside_at is None and others:
            apart = reading.value - median(others)
            if abs(float(apart)) > limit:
                yield Circumstance(
                    bottle.label,
                    f"{reading.value_typed} was read right after the undiluted concentrate and is "
                    f"{abs(apart).normalize():f} from this bottle's other readings: the prism or "
                    "cell may not have been clean.",
                )


def in_force(bottle: Bottle) -> list[Reading]:
    return [r for r in bottle.readings.all() if r.set_aside_at is None]
