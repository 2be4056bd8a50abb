"""Evaluate one test: its form in, line, percents, limits, certainty and warnings out."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc import checks
from calc.acceptance import certainty, judge
from calc.canonical import digest
from calc.checks import FitPoint, different_percents, fit_points
from calc.errors import CalcError, Warned
from calc.form import Bench, Bottle, read
from calc.inverse import Estimate, instrument_sd, read_off
from calc.line import Line, fit_line
from calc.result import Evaluation, FittedLine, Result
from calc.sums import ordered_mean
from calc.version import __version__

LEAST_PERCENTS = 3  # different percents in the fit
FLAT = 1e-12  # rise over the fit against the size of a reading, own choice: below it is float dust


@dataclass(frozen=True, slots=True)
class _Subject:
    """What is read off the line: one sample, or one flow point as the mean of its bottles."""

    where: str
    name: str
    flow_point: str | None
    reading: float
    bottles: frozenset[str]  # their places


def evaluate(data: Any) -> Evaluation:
    """Evaluate one proportioning test.

    Parameters
    ----------
    data : dict in the form of one test, as JSON gives it; numbers may be int, float or Decimal.

    Returns
    -------
    Evaluation. Sample and flow-point percents in % by volume, intervals two-sided 95 %.

    Raises: CalcError, any code, with the JSON path of the entry.
    Notes: bottle means; ordinary line; read off; limits by the plain value; certainty. The result
    depends on nothing but the canonical form whose digest it carries.
    Source: the modules named in the imports give theirs. Check: tests/calc/test_evaluate.py.
    """
    with np.errstate(all="ignore"):  # what overflows is refused, with a sentence
        return _evaluate(read(data))


def _evaluate(bench: Bench) -> Evaluation:
    points = fit_points(bench, bench.include_water)
    line = _rising_line(bench, points)
    least_sd = instrument_sd(bench.instrument.resolution, bench.instrument.repeatability)
    on_temperature, open_bottles = checks.on_temperature(bench, line)
    other_line, on_other_line = _other_line(bench)
    warned = [
        *on_temperature,
        *checks.on_resolution(bench, line),
        *checks.on_order(bench),
        *checks.on_straightness(points, least_sd),
        *checks.on_outliers(points, line, least_sd),
        *on_other_line,
    ]
    if on_other_line or open_bottles & {point.where for point in points}:
        open_bottles |= {subject.where for subject in _samples(bench)}
    results, on_results = _results(bench, points, line, least_sd, other_line, open_bottles)
    warned += on_results
    _require_sayable(warned)
    return Evaluation(
        line=_fitted(line),
        band=(float(bench.band.lower), float(bench.band.upper)),
        samples=tuple(results[: len(bench.samples)]),
        flow_points=tuple(results[len(bench.samples) :]),
        warnings=tuple(warned),
        engine_version=__version__,
        inputs_digest=digest(bench.as_form()),
    )


def _results(
    bench: Bench,
    points: list[FitPoint],
    line: Line,
    least_sd: float,
    other_line: Line | None,
    open_bottles: set[str],
) -> tuple[list[Result], list[Warned]]:
    """Results of the samples, then of the flow points, and the warnings that belong to one."""
    subjects = _samples(bench) + _flow_points(bench)
    estimate = read_off(
        line,
        np.array([subject.reading for subject in subjects]),
        np.array([len(subject.bottles) for subject in subjects]),
        max(float(line.residual_sd), least_sd),
    )
    _require_numbers(subjects, estimate)
    results, warned = [], []
    for i, subject in enumerate(subjects):
        percent = float(estimate.percent[i])
        outside, open_outside = checks.on_range(subject.where, percent, points)
        hanging = checks.on_water(subject.where, percent, _percent_on(other_line, subject), bench)
        if subject.flow_point is not None or len(subject.bottles) > 1:
            warned += [*outside, *hanging]  # a flow point of one bottle would say the same twice
        is_open = bool(open_bottles & subject.bottles or open_outside or hanging)
        results.append(_result(bench, subject, estimate, i, is_open))
    return results, warned


def _rising_line(bench: Bench, points: list[FitPoint]) -> Line:
    """The line through the points, refused unless it rests on enough and rises."""
    count = different_percents(points)
    if count < LEAST_PERCENTS:
        raise CalcError("too_few_percents", "$.standards", count=count)
    line = fit_line([p.percent for p in points], [p.reading for p in points])
    numbers = (line.slope, line.intercept, line.residual_sd)
    if not all(math.isfinite(number) for number in numbers):
        raise CalcError("beyond_numbers", "$.standards")
    if _is_flat(line, points):
        raise CalcError("flat_line", "$.standards")
    if line.slope < 0:
        by_salt = bench.method == "conductivity"
        raise CalcError("falling_conductivity" if by_salt else "falling_line", "$.standards")
    if not math.isfinite(line.r):
        raise CalcError("beyond_numbers", "$.standards")
    return line


def _is_flat(line: Line, points: list[FitPoint]) -> bool:
    percents = [point.percent for point in points]
    largest = max(abs(point.reading) for point in points)
    return bool(abs(line.slope) * (max(percents) - min(percents)) <= FLAT * largest)


def _other_line(bench: Bench) -> tuple[Line | None, list[Warned]]:
    """The line with the other choice about water, if it stands; a warning if it does not rise."""
    points = fit_points(bench, not bench.include_water)
    if different_percents(points) < LEAST_PERCENTS:
        return None, []
    try:
        return _rising_line(bench, points), []
    except CalcError:
        used = checks.with_or_without(bench)
        return None, [Warned("water_needed", "$.water", {"used": used})]


def _percent_on(line: Line | None, subject: _Subject) -> float | None:
    if line is None:
        return None
    percent = float((subject.reading - line.intercept) / line.slope)
    if not math.isfinite(percent):
        raise CalcError("beyond_numbers", subject.where)
    return percent


def _samples(bench: Bench) -> list[_Subject]:
    return [
        _Subject(
            where=sample.bottle.where,
            name=sample.name,
            flow_point=sample.flow_point,
            reading=sample.bottle.mean,
            bottles=frozenset({sample.bottle.where}),
        )
        for sample in bench.samples
    ]


def _flow_points(bench: Bench) -> list[_Subject]:
    """One subject a flow point, in the order of first mention; never a mean over flow points."""
    bottles: dict[str, list[Bottle]] = {}
    for sample in bench.samples:
        bottles.setdefault(sample.flow_point, []).append(sample.bottle)
    return [
        _Subject(
            where=f"$.flow_points[{i}]",
            name=name,
            flow_point=None,
            reading=float(ordered_mean([bottle.mean for bottle in own])),
            bottles=frozenset(bottle.where for bottle in own),
        )
        for i, (name, own) in enumerate(bottles.items())
    ]


def _require_numbers(subjects: list[_Subject], estimate: Estimate) -> None:
    usable = (
        np.isfinite(estimate.percent)
        & np.isfinite(estimate.low)
        & np.isfinite(estimate.high)
        & (estimate.u_percent > 0)
    )
    for subject, one in zip(subjects, usable, strict=True):
        if not one:
            raise CalcError("beyond_numbers", subject.where)


def _require_sayable(warned: list[Warned]) -> None:
    for one in warned:
        if not all(math.isfinite(v) for v in one.values.values() if isinstance(v, float)):
            raise CalcError("beyond_numbers", one.where)


def _fitted(line: Line) -> FittedLine:
    return FittedLine(
        slope=float(line.slope),
        intercept=float(line.intercept),
        r=float(line.r),
        residual_sd=float(line.residual_sd),
        degrees_of_freedom=line.degrees_of_freedom,
    )


def _result(bench: Bench, subject: _Subject, estimate: Estimate, i: int, is_open: bool) -> Result:
    percent, u_percent = float(estimate.percent[i]), float(estimate.u_percent[i])
    verdict = judge(percent, u_percent, estimate.degrees_of_freedom, bench.band)
    return Result(
        name=subject.name,
        flow_point=subject.flow_point,
        percent=percent,
        standard_uncertainty=u_percent,
        degrees_of_freedom=estimate.degrees_of_freedom,
        interval=(float(estimate.low[i]), float(estimate.high[i])),
        limits=verdict.limits,
        probability_in_band=verdict.probability_in_band,
        probability_of_limits=verdict.probability_of_limits,
        certainty=certainty(verdict.probability_of_limits, bench.verdict_probability, is_open),
    )
