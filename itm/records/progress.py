"""How far a test has come, step by step, from rows that `queries.test` has fetched."""

from datetime import datetime, timedelta

from itm.records.direct_inputs import measured_whole
from itm.records.models import Bottle, FlowRun, ProportioningTest, RestorationLine, Visit

BENCH_STEPS = ("prepare", "discharge", "flush", "restore", "bench", "result")
# The meters and the level are read while it flows, so before the stop.
DIRECT_STEPS = ("prepare", "discharge", "measure", "flush", "restore", "result")


def steps_of(test: ProportioningTest) -> tuple[str, ...]:
    return DIRECT_STEPS if test.is_direct else BENCH_STEPS


def samples_of(run: FlowRun) -> list[Bottle]:
    """Samples in use, in the order they were caught."""
    return [bottle for bottle in run.bottles.all() if not bottle.withdrawn_reason]


def lines_of(test: ProportioningTest) -> list[RestorationLine]:
    """What has to be put back for this test: the lines of its own proportioner."""
    lines = test.visit.restoration_lines.all()
    return [line for line in lines if line.proportioner_id == test.proportioner_id]


def steps_done(test: ProportioningTest) -> dict[str, bool]:
    """For each step whether nothing is left to do in it."""
    runs = list(test.runs.all())
    samples = [bottle for run in runs for bottle in samples_of(run)]
    read = [b for b in samples if any(r.set_aside_at is None for r in b.readings.all())]
    if test.is_direct:
        discharged, measured = all(run.solution_flow for run in runs), measured_whole(test)
    else:
        discharged, measured = all(samples_of(run) for run in runs), False
    return {
        "prepare": True,
        "discharge": discharged,
        "measure": measured,
        "flush": all(step.done_at is not None for step in test.flush_steps.all()),
        "restore": all(line.outcome != RestorationLine.Outcome.OPEN for line in lines_of(test)),
        "bench": bool(samples) and len(read) == len(samples),
        "result": test.state in (test.State.HANDED_IN, test.State.SEALED),
    }


def next_step(test: ProportioningTest) -> str:
    """The first step with something left to do, or nothing."""
    if test.state == test.State.ABANDONED:
        return ""
    done = steps_done(test)
    return next((step for step in steps_of(test) if not done[step]), "")


def out_of_service(visit: Visit, now: datetime) -> timedelta | None:
    """How long the impairment has lasted, or lasted until it ended."""
    if visit.started_at is None:
        return None
    return (visit.restored_at or now) - visit.started_at


def reopens(line: RestorationLine, handed_in_devices: set[int]) -> bool:
    """Whether an ended line can be opened again: no record rests on it and nothing followed."""
    rests = line.proportioner_id in handed_in_devices and line.follows_id is None
    ended = line.outcome != RestorationLine.Outcome.OPEN
    return ended and line.sealed_at is None and not (hasattr(line, "followed_by") or rests)


def left_out(visit: Visit) -> list[RestorationLine]:
    """Lines that are out of service still: nobody has put them back since."""
    return [
        line
        for line in visit.restoration_lines.all()
        if line.outcome == RestorationLine.Outcome.LEFT_OUT and not hasattr(line, "followed_by")
    ]
