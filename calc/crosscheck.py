"""The mixing cross-check of one bench: its undiluted concentrate against its standards."""

from collections.abc import Sequence

import numpy as np

from calc.acceptance import limits
from calc.errors import CalcError, Warned
from calc.form import Bench, Bottle
from calc.inverse import instrument_sd
from calc.mixing import AGREE, MixingLine, by_mixing, cross_check, mixing_line, tank_dilution
from calc.readings import brix_to_index
from calc.result import ByMixing, FittedLine, Mixing
from calc.stack import Subject, guess_of

CONCENTRATE_PER_C = 2e-4  # index of undiluted concentrate per °C; common practice, no source


def mixing_of(
    bench: Bench, line: FittedLine, u_slope: float, subjects: Sequence[Subject]
) -> Mixing | None:
    """What water and undiluted concentrate say about one bench, or None where they say nothing.

    Parameters
    ----------
    bench : Bench.
    line : FittedLine, its line.
    u_slope : float, reading per %.
    subjects : what was read off; only flow points are read off again.

    Notes: on the index scale, where mixtures lie on a straight line; a Brix scale is turned into
    index first. Conductivity is not linear up to undiluted concentrate and tells nothing.
    Source: calc.mixing. Check: tests/calc/test_crosscheck.py.
    """
    concentrate = bench.concentrate
    if concentrate is None or bench.method == "conductivity":
        return None
    try:
        pure = _pure(bench, concentrate)
        slope = _slope_of_index(bench, line)
        u_line = float(np.hypot(u_slope, line.slope * bench.shared_doubt))
        check = cross_check(pure, slope, slope * u_line / line.slope, np.inf)
        flow_points = _flow_points(bench, pure, line, subjects)
    except CalcError:  # readings beyond the scale, or alike: nothing to hold the standards against
        return None
    dilution = tank_dilution(check)
    return Mixing(
        verdict=str(check.verdict),
        ratio=float(check.ratio),
        standard_uncertainty=float(check.u_ratio),
        share_left=None if dilution is None else (dilution.share_left, dilution.low, dilution.high),
        flow_points=flow_points,
    )


def on_mixing(mixing: Mixing | None) -> list[Warned]:
    """Warn when the standards disagree with the two pure liquids, with the size in percent."""
    if mixing is None or mixing.verdict == AGREE:
        return []
    off = 100 * abs(mixing.ratio - 1)
    values = {"verdict": mixing.verdict, "off": off, "unsure": 200 * mixing.standard_uncertainty}
    if mixing.share_left is None:
        return [Warned("standards_weak", "$.concentrate", values)]
    return [Warned("standards_strong", "$.concentrate", {**values, "left": mixing.share_left[0]})]


def reversed_flow_points(mixing: Mixing | None) -> set[str]:
    """Flow points whose limits hang on which of the two slopes is right."""
    if mixing is None or mixing.verdict == AGREE:
        return set()
    return {point.name for point in mixing.flow_points if point.reverses}


def _pure(bench: Bench, concentrate: Bottle) -> MixingLine:
    """Water and undiluted concentrate on the index scale, with their uncertainties: repeats, step,
    and for the concentrate its temperature beside the water's."""
    warmth = CONCENTRATE_PER_C * _apart(bench, concentrate)
    return mixing_line(
        _index(bench, bench.water.mean),
        _index(bench, concentrate.mean),
        _u_index(bench, bench.water),
        float(np.hypot(_u_index(bench, concentrate), warmth)),
    )


def _u_index(bench: Bench, bottle: Bottle) -> float:
    u = instrument_sd(bench.instrument.width, guess_of(bench) / len(bottle.values) ** 0.5)
    return abs(_index(bench, bottle.mean + u) - _index(bench, bottle.mean))


def _apart(bench: Bench, concentrate: Bottle) -> float:
    """°C between the concentrate and what the water stands for."""
    if bench.instrument.temperature_compensated:
        return 0.0
    water = bench.correct_to_c if bench.correct_to_c is not None else bench.water.temperature_c
    if water is None or concentrate.temperature_c is None:
        return 0.0
    return abs(concentrate.temperature_c - water)


def _index(bench: Bench, reading: float) -> float:
    return float(brix_to_index(reading)) if bench.method == "brix" else reading


def _slope_of_index(bench: Bench, line: FittedLine) -> float:
    """Slope of the calibration in index per percent, over the percents up to nominal."""
    base, slope = line.intercept, line.slope
    there = base + slope * bench.nominal_percent
    return (_index(bench, there) - _index(bench, base)) / bench.nominal_percent


def _flow_points(
    bench: Bench, pure: MixingLine, line: FittedLine, subjects: Sequence[Subject]
) -> tuple[ByMixing, ...]:
    flow_points = [subject for subject in subjects if subject.flow_point is None]
    readings = np.array([_index(bench, subject.reading) for subject in flow_points])
    percents = by_mixing(pure, readings, 0.0).percent.tolist()
    return tuple(
        _flow_point(bench, line, subject, percent)
        for subject, percent in zip(flow_points, percents, strict=True)
    )


def _flow_point(bench: Bench, line: FittedLine, subject: Subject, percent: float) -> ByMixing:
    by_line = (subject.reading - line.intercept) / line.slope
    stated = limits(percent, bench.band)
    return ByMixing(
        name=subject.name,
        percent=percent,
        limits=stated,
        reverses=stated != limits(by_line, bench.band),
    )
