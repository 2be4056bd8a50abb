"""What a record must hold before it can be handed in.

Only what is certainly missing or wrong stands in the way; honest odd data goes in with a warning.
"""

from collections.abc import Iterator

from itm.core.clock import date_at
from itm.core.figures import day
from itm.intake.check import Problem
from itm.intake.complete_direct import direct_problems
from itm.records.circumstances import in_force
from itm.records.drafts import on_bench
from itm.records.evaluate import preview_of
from itm.records.loading import whole
from itm.records.models import Bench, Bottle, ProportioningTest
from itm.records.weighing import amounts
from itm.registry.certificates import certificate_on, ran_out


def problems(
    test: ProportioningTest, *, no_result: str | None = None,
    loaded: ProportioningTest | None = None,
) -> list[Problem]:  # fmt: skip
    """Everything that stands in the way of handing in, in the order of the day.

    `place` is the step where it is mended: prepare, discharge, flush, restoring, and bench or
    measure.
    `no_result` is why there is no result, empty where there is one, from a page that has just
    worked it out; `loaded` is the test whole, from a page that has it.
    """
    loaded = loaded or whole(test.pk)
    of_method = direct_problems if loaded.is_direct else _bench
    found = [
        *_day(loaded), *_runs(loaded), *_flush(loaded), *_restoration(loaded), *of_method(loaded),
    ]  # fmt: skip
    step = "measure" if loaded.is_direct else "bench"
    if any(p.place == step for p in found):
        return found
    why = preview_of(loaded).problem if no_result is None else no_result
    return [*found, Problem(step, "no_result", why)] if why else found


def _day(test: ProportioningTest) -> Iterator[Problem]:
    if test.visit.started_at is None:
        yield Problem(
            "prepare",
            "not_started",
            "The test day was not started; start it and tell who was told.",
        )
    if test.phase == ProportioningTest.Phase.AS_LEFT and not test.adjusted.strip():
        yield Problem(
            "prepare", "adjusted_missing", "An as-left result names the parts that were adjusted."
        )


def _runs(test: ProportioningTest) -> Iterator[Problem]:
    for run in test.runs.all():
        point = run.flow_point.name
        if run.solution_flow is None or not run.flow_source:
            yield Problem(
                "discharge",
                "flow_missing",
                f"Flow point {point} has no solution flow with its source; write what the meter or "
                "pitot showed, or say that it is from the nameplate.",
            )
        if not test.is_direct and not any(in_force(b) for b in run.bottles.all()):
            yield Problem(
                "bench",
                "sample_missing",
                f"Flow point {point} has no sample with a reading in force; read one.",
            )


def _flush(test: ProportioningTest) -> Iterator[Problem]:
    left = [s.text for s in test.flush_steps.all() if s.done_at is None]
    if left:
        yield Problem(
            "flush", "flush_open", f"Stop and flush has {len(left)} open steps; next: {left[0]}."
        )


def _restoration(test: ProportioningTest) -> Iterator[Problem]:
    open_lines = [
        line.text
        for line in test.visit.restoration_lines.all()
        if line.proportioner_id == test.proportioner_id and not line.outcome
    ]
    if open_lines:
        yield Problem(
            "restoring",
            "restoration_open",
            f"{len(open_lines)} restoration lines are open; first: {open_lines[0]}. End each as "
            "restored, not fitted, or left out of service with a hand-over in writing.",
        )


def _bench(test: ProportioningTest) -> Iterator[Problem]:
    bench = on_bench(test)
    bottles = list(bench.bottles.all())
    if bench.compensation == Bench.Compensation.MIXED:
        yield Problem(
            "bench", "compensation_mixed",
            "Temperature compensation was on for some bottles and off for others, so their "
            "readings have no line in common: set it once, read every bottle again, set the old "
            "readings aside, and say so on the bench.",
        )  # fmt: skip
    yield from _certificate(test, bottles)
    if not any(b.role == Bottle.Role.WATER and in_force(b) for b in bottles):
        yield Problem(
            "bench", "water_missing", "The test water has no reading in force; read it as point 0."
        )
    for bottle in bottles:
        if bottle.role != Bottle.Role.STANDARD:
            continue
        read = in_force(bottle)
        if read and not amounts(bottle):
            yield Problem(
                "bench",
                "volumes_missing",
                f"Standard {bottle.label} has no volumes or masses as made; write concentrate and "
                "water.",
            )
        if not bottle.readings.all():
            yield Problem(
                "bench",
                "standard_unread",
                f"Standard {bottle.label} was not read; read it, or withdraw it with a reason.",
            )


def _certificate(test: ProportioningTest, bottles: list[Bottle]) -> Iterator[Problem]:
    """The owner's own rule, asked of each day on which the bench was read."""
    if not test.site.certificate_needed:
        return
    meter, zone = on_bench(test).instrument, test.site.time_zone
    samples = [bottle for run in test.runs.all() for bottle in run.bottles.all()]
    days = sorted({date_at(zone, r.read_at) for b in [*bottles, *samples] for r in in_force(b)})
    for on in days:
        proof = certificate_on(meter, on)
        if proof is not None and not ran_out(proof, on):
            continue
        yield Problem(
            "bench", "certificate_needed",
            f"The owner of {test.site} takes no result read with an instrument out of date, and "
            + (
                f"the certificate {proof} of {meter} ran out on {day(proof.due_on)}"
                if proof
                else f"{meter} has no certificate on record"
            )
            + f"; the bench was read on {day(on)}. Read it again with an instrument in date, or "
            "add the certificate where there is one.",
        )  # fmt: skip
        return
