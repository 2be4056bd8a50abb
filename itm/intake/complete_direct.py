"""What a direct test must hold before it can be handed in.

A flow from a nameplate was not measured, and here it would be half of the answer: so it is refused
and not only remarked on.
"""

from collections.abc import Iterator

from calc.direct_form import DRAW_DOWN, OTHER_LIQUID, WEIGHED
from itm.core.figures import day
from itm.intake.check import Problem
from itm.records.direct_flows import concentrate_flow, second_flow
from itm.records.direct_inputs import baseline_form, vessel_form
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest
from itm.records.remarks import instruments_of
from itm.registry.certificates import certificate_on, ran_out

STEP = "measure"
NAMEPLATE = DirectRun.Source.NAMEPLATE


def direct_problems(test: ProportioningTest) -> Iterator[Problem]:
    """In the order of the page where it is mended."""
    setup = test.direct
    of_test = {DRAW_DOWN: _draw_down, WEIGHED: _weighed}.get(test.method)
    yield from of_test(setup) if of_test else _meters(test, setup)
    yield from _second(test, setup)
    for run in test.runs.all():
        yield from _run(test, setup, run)
    if test.site.certificate_needed:
        yield from _certificates(test)


def _certificates(test: ProportioningTest) -> Iterator[Problem]:
    """The owner's own rule, asked of each meter of the crew on the day of the test."""
    for meter in instruments_of(test):
        proof = certificate_on(meter, test.tested_on)
        if proof is None or ran_out(proof, test.tested_on):
            yield Problem(
                STEP, "certificate_needed",
                f"The owner of {test.site} takes no result read with an instrument out of date, "
                f"and {meter} had no certificate in date on {day(test.tested_on)}. Measure again "
                "with one in date, or add the certificate where there is one.",
            )  # fmt: skip


def _meters(test: ProportioningTest, setup: DirectSetup) -> Iterator[Problem]:
    liquid = "the other liquid" if test.method == OTHER_LIQUID else "the concentrate"
    if setup.concentrate_meter is None and not setup.concentrate_fitted.strip():
        yield Problem(
            STEP, "meter_missing",
            f"No meter is named for {liquid}; choose one of your instruments, or name the one that "
            "is fitted there.",
        )  # fmt: skip
    if setup.concentrate_accuracy is None:
        yield Problem(
            STEP, "accuracy_missing",
            f"Nothing says how good the meter for {liquid} is; write what its certificate or data "
            "sheet states, in percent of the reading.",
        )  # fmt: skip
    if not setup.meter_in:
        yield Problem(
            STEP, "meter_in_missing",
            "Say where the second meter sits: percent is of the solution, and a meter in the water "
            "does not see the concentrate.",
        )  # fmt: skip


def _draw_down(setup: DirectSetup) -> Iterator[Problem]:
    if vessel_form(setup) is None:
        yield Problem(
            STEP, "vessel_missing",
            "The vessel has no shape with all its sizes; a level is a volume only with them.",
        )  # fmt: skip
    if setup.level_step is None:
        yield Problem(
            STEP, "level_step_missing",
            "Nothing says how finely the level was read; write one step of its scale.",
        )  # fmt: skip


def _weighed(setup: DirectSetup) -> Iterator[Problem]:
    if not setup.scale.strip():
        yield Problem(
            STEP, "scale_missing",
            "No scale is named; write its tag, and the number of its certificate.",
        )  # fmt: skip
    if setup.scale_step is None or setup.scale_error is None:
        yield Problem(
            STEP, "scale_step_missing",
            "Nothing says how good the scale is; write one step of it, and by how much it may be "
            "off at the weight that stands on it.",
        )  # fmt: skip
    if setup.density is None or setup.density_error is None:
        yield Problem(
            STEP, "density_missing",
            "A weight is a volume only with the density of the concentrate; write it, and by how "
            "much it may be off.",
        )  # fmt: skip
    elif not setup.density_from:
        yield Problem(
            STEP, "density_source_missing",
            "Say where the density comes from: the certificate of the lot, a concentrate check, a "
            "data sheet, or a sample that was measured that day.",
        )  # fmt: skip


def _second(test: ProportioningTest, setup: DirectSetup) -> Iterator[Problem]:
    runs = list(test.runs.all())
    by_meter = any(
        run.direct.second_read != DirectRun.SecondRead.DISCHARGE
        or run.flow_source == FlowRun.FlowSource.METER
        for run in runs
    )
    if by_meter and setup.second_meter is None and not setup.second_fitted.strip():
        yield Problem(
            STEP, "meter_missing",
            "No meter is named for the second flow; choose one of your instruments, or name the "
            "one that is fitted there.",
        )  # fmt: skip
    if setup.second_accuracy is None:
        yield Problem(
            STEP, "accuracy_missing",
            "Nothing says how good the second flow is; write by how much of its reading it may be "
            "off, in percent. Of a pitot it is half of what its pressure may be off.",
        )  # fmt: skip


def _run(test: ProportioningTest, setup: DirectSetup, run: FlowRun) -> Iterator[Problem]:
    point, row = run.flow_point.name, run.direct
    if NAMEPLATE in (row.concentrate_source, row.second_source) or (
        run.flow_source == FlowRun.FlowSource.NAMEPLATE
    ):
        yield Problem(
            STEP, "nameplate_no_evidence",
            f"Flow point {point} has a flow from a nameplate, which nobody measured: it is no "
            "evidence and gives no percent. Measure it, or leave the flow point out.",
        )  # fmt: skip
    if test.method == DRAW_DOWN:
        yield from _levels(point, row)
    elif test.method == WEIGHED:
        yield from _weights(point, row)
    else:
        yield from _first(point, setup, row)
    if setup.second_accuracy is not None and second_flow(setup, row, run) is None:
        yield Problem(
            STEP, "second_flow_missing",
            f"Flow point {point} has no second flow; note the flow of solution at the discharge, "
            "or what the second meter read here, with the time between two totaliser readings.",
        )  # fmt: skip
    if test.method == OTHER_LIQUID and setup.concentrate_accuracy and setup.second_accuracy:
        yield from _baseline(point, setup, row)


def _levels(point: str, row: DirectRun) -> Iterator[Problem]:
    if row.level_before is None or row.level_after is None:
        yield Problem(
            STEP, "level_missing", f"Flow point {point} lacks a level, before or after the run."
        )
    if row.duration is None:
        yield Problem(
            STEP, "duration_missing", f"Flow point {point} has no time between the two levels."
        )


def _weights(point: str, row: DirectRun) -> Iterator[Problem]:
    if row.mass_before is None or row.mass_after is None:
        yield Problem(
            STEP, "weight_missing", f"Flow point {point} lacks a weight, before or after the run."
        )
    if row.duration is None:
        yield Problem(
            STEP, "duration_missing", f"Flow point {point} has no time between the two weights."
        )


def _first(point: str, setup: DirectSetup, row: DirectRun) -> Iterator[Problem]:
    if not row.concentrate_source or not row.concentrate_read:
        yield Problem(
            STEP, "source_missing",
            f"Flow point {point} does not say what was read in the concentrate line: a flow, or a "
            "totaliser, and where the number comes from.",
        )  # fmt: skip
    elif setup.concentrate_accuracy is not None and concentrate_flow(setup, row) is None:
        yield Problem(
            STEP, "first_flow_missing",
            f"Flow point {point} has no flow in the concentrate line; of a totaliser it takes the "
            "readings before and after and the time between them.",
        )  # fmt: skip


def _baseline(point: str, setup: DirectSetup, row: DirectRun) -> Iterator[Problem]:
    if baseline_form(setup, row) is None or row.beside_on is None or not row.beside_source.strip():
        yield Problem(
            STEP, "foam_baseline_missing",
            f"Flow point {point} has no baseline: write what this liquid read when "
            f"{row.foam_name or 'the foam'} was run at this flow, on which day, and where that is "
            "written.",
        )  # fmt: skip
