"""Many tests at once as arrays; one test is a batch of one.

Tests of different size share one array: a point or a result that a test does not have weighs
nothing. Arrays are worked through in chunks that stay near the processor.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from calc.acceptance import Verdict, judge
from calc.form import BOTH_AXES, ORDINARY
from calc.interval import (
    Bottles,
    Estimate,
    bench_scatter,
    honest_read_off,
    slope_uncertainty,
)
from calc.inverse import instrument_sd
from calc.line import Line, fit_both_axes, fit_line

CHUNK = 4096  # tests, own choice: the fastest of the powers of two that were tried


@dataclass(frozen=True, slots=True)
class Benches:
    """n points of a line, k results, B tests; readings in the unit of each meter."""

    percent: Any  # %, shape (n, B)
    reading: Any  # mean of each bottle, shape (n, B)
    u_percent: Any  # %, shape (n, B)
    readings: Any  # count in each bottle, shape (n, B), >= 1
    used: Any  # 1 for a point of the fit, 0 for none, shape (n, B); None when all are
    result_reading: Any  # mean of the bottle means of each result, shape (k, B)
    result_bottles: Any  # how many bottles that is, shape (k, B)
    result_share: Any  # variance of that mean over that of one reading, shape (k, B)
    result_beside: Any  # variance from other causes than scatter and step, reading², shape (k, B)
    guess: Any  # first guess of the scatter of one reading, shape (B,)
    resolution: Any  # shape (B,)
    within_squares: Any  # repeats about their bottles, over guess², shape (B,)
    within_dof: Any  # shape (B,)
    lower: Any  # of the band, %, shape (B,)
    upper: Any


@dataclass(frozen=True, slots=True)
class Answers:
    """What the engine says to each test: line, results and verdicts, shapes (B,) and (k, B)."""

    line: Line
    u_slope: Any  # of everything known, reading per %
    reading_sd: Any  # scatter of one reading as learnt, unit of the reading, shape (B,)
    estimate: Estimate
    verdict: Verdict


def answers(benches: Benches, fit: str = ORDINARY) -> Answers:
    """Line, percents, intervals and verdicts of many tests.

    Parameters
    ----------
    benches : Benches.
    fit : str, "ordinary", "weighted" or "both-axes", one for all.

    Returns
    -------
    Answers. Where the arithmetic fails (no slope, numbers out of range) they are not finite.

    Raises: too_few_points, shapes_differ, no_spread.
    Source: the modules named in the imports give theirs. Check: tests/calc/test_batch.py, against
    one test at a time.
    """
    count = np.shape(benches.guess)[0]
    if count <= CHUNK:
        return _answers(benches, fit)
    parts = [
        _answers(_cut(benches, slice(start, start + CHUNK)), fit)
        for start in range(0, count, CHUNK)
    ]
    return _joined(parts)


def line_of(benches: Benches, fit: str) -> Line:
    """The line of each test, by the fit asked for.

    The weight of a bottle is one over the variance that step, repeatability and the number of its
    readings leave; "both-axes" adds what the standards were made to.

    Raises: as `fit_line`.
    Source: calc.line. Check: tests/calc/test_batch.py.
    """
    if fit == ORDINARY:
        return fit_line(benches.percent, benches.reading, benches.used)
    u_reading = instrument_sd(benches.resolution, benches.guess / np.sqrt(benches.readings))
    used = 1.0 if benches.used is None else benches.used
    if fit == BOTH_AXES:
        both = fit_both_axes(
            benches.percent, benches.reading, benches.u_percent, u_reading, benches.used
        )
        return both.line
    return fit_line(benches.percent, benches.reading, used / np.square(u_reading))


def _answers(benches: Benches, fit: str) -> Answers:
    line = line_of(benches, fit)
    bottles = Bottles(
        percent=benches.percent,
        u_percent=benches.u_percent,
        readings=benches.readings,
        guess=benches.guess,
        resolution=benches.resolution,
    )
    scatter = bench_scatter(line, bottles, benches.within_squares, benches.within_dof)
    estimate = honest_read_off(
        line,
        bottles,
        scatter,
        reading=benches.result_reading,
        bottles=benches.result_bottles,
        share=benches.result_share,
        beside=benches.result_beside,
    )
    u_slope = slope_uncertainty(line, bottles, scatter)
    verdict = judge(
        estimate.percent,
        estimate.u_percent,
        estimate.degrees_of_freedom,
        benches.lower,
        benches.upper,
    )
    reading_sd = np.sqrt(scatter.mean) * benches.guess
    return Answers(line, u_slope, reading_sd, estimate, verdict)


def _cut(benches: Benches, tests: slice) -> Benches:
    own = {field.name: getattr(benches, field.name) for field in fields(benches)}
    return replace(benches, **{name: a[..., tests] for name, a in own.items() if a is not None})


def _joined(parts: list[Any]) -> Any:
    """One value of the parts' own class, its arrays put together along the tests."""
    first = parts[0]
    joined = {}
    for field in fields(first):
        own = [getattr(part, field.name) for part in parts]
        if hasattr(own[0], "__dataclass_fields__"):
            joined[field.name] = _joined(own)
        elif np.ndim(own[0]) == 0:  # the same for every test
            joined[field.name] = own[0]
        else:
            joined[field.name] = np.concatenate(own, axis=-1)
    return type(first)(**joined)
