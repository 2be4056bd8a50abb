"""From the arrays of a batch to what is said of each test: refusals, warnings and results."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc import checks
from calc.acceptance import WORDS, Verdict, certainty
from calc.batch import Answers
from calc.canonical import digest
from calc.crosscheck import mixing_of, on_mixing, reversed_flow_points
from calc.errors import CalcError, Warned
from calc.fit_checks import FitChecks
from calc.form import Bench
from calc.other_line import OtherLine
from calc.result import Evaluation, FittedLine, LackOfFit, Result
from calc.scales import on_scale
from calc.stack import Subject, fit_percents
from calc.temperatures import at_one_temperature, line_at_one_temperature, look
from calc.version import __version__
from calc.waters import on_waters

FLAT = 1e-12  # rise over the fit against the size of a reading, own choice: below it is float dust


@dataclass(frozen=True, slots=True)
class Row:
    """The numbers of one test out of the arrays of its batch."""

    line: FittedLine
    u_slope: float
    reading_sd: float
    other: list[float] | None  # slope, intercept, correlation
    results: list[list[float]]  # as `_result` takes them apart
    otherwise: list[list[float]]  # percent and side of each by the other line
    bend: list[float]  # t, degrees of freedom
    outliers: list[float]  # t of each point, water first
    lack: list[float]  # F, probability


@dataclass(frozen=True, slots=True)
class Findings:
    """One test and its numbers; `evaluation` says what they mean."""

    bench: Bench
    subjects: Sequence[Subject]
    row: Row

    def evaluation(self) -> Evaluation:
        """The evaluation of this test.

        Raises: flat_line, falling_line, falling_conductivity, beyond_numbers.
        Source: calc.checks and the modules it names. Check: tests/calc/test_evaluate.py.
        """
        bench, line = self.bench, self.row.line
        if code := _unusable(bench, bench.include_water, line.slope, line.intercept, line.r):
            raise CalcError(code, "$.standards")
        mixing = mixing_of(bench, line, self.row.u_slope, self.subjects)
        on_other = self._on_other_line()
        temperatures = look(bench, line.slope)
        left_open = set(temperatures.left_open)
        scale = on_scale(bench)
        waters = on_waters(bench, line.slope, self.row.reading_sd)
        if on_other or scale or waters or left_open & self._fitted():
            left_open |= {sample.bottle.where for sample in bench.samples}
        results, on_results = self._results(
            not on_other, left_open, temperatures.added, reversed_flow_points(mixing)
        )
        warned = (
            *temperatures.warned,
            *waters,
            *checks.on_resolution(bench, line.slope),
            *checks.on_density(bench),
            *scale,
            *checks.on_order(bench),
            *checks.on_repeats(bench),
            *self._on_fit(),
            *on_mixing(mixing),
            *on_other,
            *on_results,
        )
        _require_sayable(warned)
        count = len(bench.samples)
        return Evaluation(
            line=line,
            band=(float(bench.band.lower), float(bench.band.upper)),
            samples=tuple(results[:count]),
            flow_points=tuple(results[count:]),
            lack_of_fit=self._lack_of_fit(),
            mixing=mixing,
            warnings=warned,
            engine_version=__version__,
            inputs_digest=digest(bench.as_form()),
        )

    def _fitted(self) -> set[str]:
        water = {self.bench.water.where} if self.bench.include_water else set()
        return water | {standard.bottle.where for standard in self.bench.standards}

    def _on_other_line(self) -> list[Warned]:
        """A warning when the line with the other choice about water does not stand."""
        if self.row.other is None:
            return []
        if _unusable(self.bench, not self.bench.include_water, *self.row.other):
            used = checks.with_or_without(self.bench)
            return [Warned("water_needed", "$.water", {"used": used})]
        return []

    def _on_fit(self) -> list[Warned]:
        places = [standard.bottle.where for standard in self.bench.standards]
        ts = self.row.outliers[1:]
        if self.bench.include_water:
            places, ts = [self.bench.water.where, *places], self.row.outliers
        bend_t, bend_dof = self.row.bend
        warned = [*checks.on_straightness(bend_t, bend_dof), *checks.on_outliers(places, ts)]
        lack = self._lack_of_fit()
        return warned if lack is None else [*warned, *checks.on_lack_of_fit(lack)]

    def _lack_of_fit(self) -> LackOfFit | None:
        f, probability = self.row.lack
        return LackOfFit(f, probability) if math.isfinite(f) else None

    def _results(
        self,
        other_stands: bool,
        left_open: set[str],
        added: Mapping[str, float],
        reverses: set[str],
    ) -> tuple[list[Result], list[Warned]]:
        """Results of the samples, then of the flow points, and the warnings that belong to one."""
        percents = fit_percents(self.bench, self.bench.include_water)
        results, warned = [], []
        intercept, slope = line_at_one_temperature(self.bench, added) if added else (0.0, 1.0)
        compares = other_stands and self.row.other is not None
        for subject, numbers, other in zip(
            self.subjects, self.row.results, self.row.otherwise, strict=False
        ):
            if not all(map(math.isfinite, numbers)) or not numbers[1] > 0:
                raise CalcError("beyond_numbers", subject.where)
            if compares and not math.isfinite(other[0]):
                raise CalcError("beyond_numbers", subject.where)
            percent, side = numbers[0], int(numbers[5])
            interval = (numbers[3], numbers[4])
            outside, open_outside = checks.on_range(subject.where, percent, interval, percents)
            hanging = checks.on_water(
                subject.where, percent, side, other if compares else None, self.bench
            )
            if added:
                at_one = (at_one_temperature(subject.bottles, added) - intercept) / slope
                hanging += checks.on_warmth(subject.where, percent, at_one, self.bench)
            if subject.flow_point is not None or len(subject.bottles) > 1:
                warned += [*outside, *hanging]  # a flow point of one bottle would say it twice
            unsteady: list[Warned] = []
            if subject.flow_point is None:
                unsteady = checks.on_steadiness(
                    self.bench, subject, self.row.reading_sd, self.row.line.slope
                )
                warned += unsteady
            is_open = bool(left_open & subject.places or open_outside or hanging or unsteady)
            is_open = is_open or (subject.flow_point or subject.name) in reverses
            results.append(_result(self.bench, subject, numbers, is_open))
        return results, warned


def findings(
    benches: Sequence[Bench],
    subjects: Sequence[Sequence[Subject]],
    found: Answers,
    other: OtherLine,
    fit: FitChecks,
) -> list[Findings]:
    """The numbers of each test taken out of the arrays of its batch."""
    verdict, estimate = found.verdict, found.estimate
    results = np.stack(
        [
            estimate.percent,
            estimate.u_percent,
            estimate.degrees_of_freedom,
            estimate.low,
            estimate.high,
            verdict.side,
            verdict.probability_in_band,
            verdict.probability_lean,
            verdict.probability_of_limits,
        ]
    )
    line, other_fit = found.line, other.line
    lines = _rows(line.slope, line.intercept, line.r, line.residual_sd, line.degrees_of_freedom)
    others = _rows(other_fit.slope, other_fit.intercept, other_fit.r)
    fitted = [FittedLine(a, b, r, sd, int(dof)) for a, b, r, sd, dof in lines]
    reading_sds = found.reading_sd.tolist()
    u_slopes, there = found.u_slope.tolist(), other.there.tolist()
    numbers = np.transpose(results, (2, 1, 0)).tolist()
    otherwise = np.transpose(np.stack([other.percent, other.side]), (2, 1, 0)).tolist()
    bends, lacks = _rows(fit.bend_t, fit.bend_dof), _rows(fit.lack_f, fit.lack_probability)
    outliers = fit.outlier_t.T.tolist()
    return [
        Findings(
            bench,
            subjects[i],
            Row(
                line=fitted[i],
                u_slope=u_slopes[i],
                reading_sd=reading_sds[i],
                other=others[i] if there[i] else None,
                results=numbers[i],
                otherwise=otherwise[i],
                bend=bends[i],
                outliers=outliers[i][: 1 + len(bench.standards)],
                lack=lacks[i],
            ),
        )
        for i, bench in enumerate(benches)
    ]


def _rows(*arrays: Any) -> list[list[float]]:
    """One list a test."""
    return np.stack(arrays, axis=-1).tolist()


def _unusable(bench: Bench, with_water: bool, slope: float, intercept: float, r: float) -> str:
    """Why nothing can be read off a line, as a code; empty when something can."""
    if not (math.isfinite(slope) and math.isfinite(intercept)):
        return "beyond_numbers"
    percents = fit_percents(bench, with_water)
    readings = [standard.bottle.mean for standard in bench.standards]
    largest = max(map(abs, [bench.water.mean, *readings] if with_water else readings))
    if abs(slope) * (max(percents) - min(percents)) <= FLAT * largest:
        return "flat_line"
    if slope < 0:
        return "falling_conductivity" if bench.method == "conductivity" else "falling_line"
    return "" if math.isfinite(r) else "beyond_numbers"


def _require_sayable(warned: Sequence[Warned]) -> None:
    for one in warned:
        if not all(math.isfinite(v) for v in one.values.values() if isinstance(v, float)):
            raise CalcError("beyond_numbers", one.where)


def _result(bench: Bench, subject: Subject, numbers: list[float], is_open: bool) -> Result:
    percent, u_percent, dof, low, high, side, in_band, lean, of_limits = numbers
    verdict = Verdict(int(side), in_band, lean, of_limits)
    return Result(
        name=subject.name,
        flow_point=subject.flow_point,
        percent=percent,
        standard_uncertainty=u_percent,
        degrees_of_freedom=int(dof),
        interval=(low, high),
        limits=WORDS[verdict.side],
        probability_in_band=in_band,
        probability_of_limits=of_limits,
        certainty=certainty(verdict, bench.verdict_probability, bench.lean_probability, is_open),
    )
