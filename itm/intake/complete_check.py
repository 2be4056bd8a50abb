"""What a concentrate check must hold before it can be handed in."""

from collections.abc import Iterator

from itm.core.figures import day
from itm.intake.check import Problem
from itm.records.evaluate_check import in_force, in_use, preview
from itm.records.loading import whole_check
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue
from itm.registry.properties import PROPERTIES


def problems_of_check(check: ConcentrateCheck, *, no_result: str | None = None) -> list[Problem]:
    """Everything that stands in the way of handing in, bottle by bottle.

    `place` is the key of the bottle where it is mended, or "samples". `no_result` is why there is
    no result, empty where there is one, from a page that has just worked it out.
    """
    loaded = whole_check(check.pk)
    samples = in_use(loaded)
    if not samples:
        return [
            Problem(
                "samples",
                "no_sample",
                "No bottle is noted: note each bottle that was taken, with its point in the tank.",
            )
        ]
    found = [problem for sample in samples for problem in _of_sample(sample)]
    if found:
        return found
    why = preview(loaded).problem if no_result is None else no_result
    return [Problem("samples", "no_result", why)] if why else []


def _of_sample(sample: ConcentrateSample) -> Iterator[Problem]:
    place, values = str(sample.key), in_force(sample)
    if sample.under_way and sample.sent_on is not None:
        yield Problem(
            place,
            "result_outstanding",
            f"{sample.label} is under way to {sample.laboratory} since {day(sample.sent_on)}: "
            "attach the report when it comes, or withdraw the bottle with a reason. Sending it "
            "away is no result.",
        )
    elif not values:
        yield Problem(
            place,
            "nothing_measured",
            f"Nothing is entered of {sample.label}: enter what was measured, or withdraw the "
            "bottle with a reason.",
        )
    for value in values:
        yield from _of_value(sample, value)


def _of_value(sample: ConcentrateSample, value: SampleValue) -> Iterator[Problem]:
    known, place = PROPERTIES[value.name], str(sample.key)
    if known.mixes and value.temperature_c is None:
        yield Problem(
            place,
            "temperature_missing",
            f"The {known.words} of {sample.label} has no temperature: without it {value} says "
            "nothing. Set it aside and enter it with the temperature.",
        )
    if value.origin == SampleValue.Origin.LABORATORY and sample.report_id is None:
        yield Problem(
            place,
            "report_missing",
            f"The {known.words} of {sample.label} is a laboratory\u2019s, but no report is "
            "attached to this bottle.",
        )
