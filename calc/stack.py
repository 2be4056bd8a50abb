"""Benches as read, laid side by side in arrays; and what each column stands for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.batch import Benches
from calc.form import Bench, Bottle, mean_of
from calc.interval import guessed_sd
from calc.sums import ordered_mean, squared
from calc.temperatures import unsure

MOST_HISTORY = 10.0  # degrees of freedom of an instrument's history that count, own choice: its
# repeatability on another day, in other hands, says no more about today


@dataclass(frozen=True, slots=True)
class Subject:
    """What is read off the line: one sample, or one flow point as the mean of its bottles."""

    where: str
    name: str
    flow_point: str | None
    reading: float
    bottles: tuple[Bottle, ...]

    @property
    def places(self) -> frozenset[str]:
        return frozenset(bottle.where for bottle in self.bottles)

    @property
    def share(self) -> float:
        """Variance of the mean over that of one reading."""
        return sum(1 / len(bottle.values) for bottle in self.bottles) / len(self.bottles) ** 2


def fit_percents(bench: Bench, with_water: bool) -> list[float]:
    """Percents of the points of a line, water first."""
    percents = [standard.percent for standard in bench.standards]
    return [0.0, *percents] if with_water else percents


def subjects_of(bench: Bench) -> list[Subject]:
    """The samples, then the flow points in the order of first mention; never a mean over these."""
    samples = [
        Subject(s.bottle.where, s.name, s.flow_point, s.bottle.mean, (s.bottle,))
        for s in bench.samples
    ]
    bottles: dict[str, list[Bottle]] = {}
    for sample in bench.samples:
        bottles.setdefault(sample.flow_point, []).append(sample.bottle)
    flow_points = [
        Subject(
            where=f"$.flow_points[{i}]",
            name=name,
            flow_point=None,
            reading=mean_of([bottle.mean for bottle in own], f"$.flow_points[{i}]"),
            bottles=tuple(own),
        )
        for i, (name, own) in enumerate(bottles.items())
    ]
    return samples + flow_points


def stacked(benches: Sequence[Bench], subjects: Sequence[Sequence[Subject]]) -> Benches:
    """The arrays of several benches; shorter ones are filled up with points that weigh nothing.

    Source: none, it lays numbers side by side. Check: tests/calc/test_batch.py.
    """
    guesses = [guess_of(bench) for bench in benches]
    within = [_within(bench, guess) for bench, guess in zip(benches, guesses, strict=True)]
    made = [(0.0, *(s.u_percent for s in bench.standards)) for bench in benches]
    counts = [
        (len(bench.water.values), *(len(s.bottle.values) for s in bench.standards))
        for bench in benches
    ]
    used = [(float(bench.include_water), *(1.0 for _ in bench.standards)) for bench in benches]
    readings = [(bench.water.mean, *(s.bottle.mean for s in bench.standards)) for bench in benches]
    return Benches(
        percent=_columns([fit_percents(bench, True) for bench in benches], 0.0),
        reading=_columns(readings, 0.0),
        u_percent=_columns(made, 0.0),
        readings=_columns(counts, 1.0),
        used=_columns(used, 0.0),
        result_reading=_columns([[s.reading for s in own] for own in subjects], 0.0),
        result_bottles=_columns([[len(s.bottles) for s in own] for own in subjects], 1.0),
        result_share=_columns([[s.share for s in own] for own in subjects], 1.0),
        result_beside=_columns(
            [[_beside(b, s) for s in own] for b, own in zip(benches, subjects, strict=True)], 0.0
        ),
        guess=np.array(guesses),
        resolution=np.array([bench.instrument.width for bench in benches]),
        within_squares=np.array([squares for squares, _ in within]),
        within_dof=np.array([dof for _, dof in within]),
        lower=np.array([float(bench.band.lower) for bench in benches]),
        upper=np.array([float(bench.band.upper) for bench in benches]),
    )


def _columns(rows: Sequence[Sequence[float]], fill: float) -> Any:
    """One column a test, filled up to the longest."""
    out = np.full((max(map(len, rows)), len(rows)), fill)
    for column, row in enumerate(rows):
        out[: len(row), column] = row
    return out


def guess_of(bench: Bench) -> float:
    """First guess of the scatter of one reading of this bench, unit of the reading."""
    meter = bench.instrument
    level = ordered_mean([standard.bottle.mean for standard in bench.standards])
    return float(guessed_sd(bench.method, meter.width, meter.repeatability, level))


def _within(bench: Bench, guess: float) -> tuple[float, float]:
    """Squares of the readings about their bottles over guess², and their degrees of freedom; an
    instrument's history counts as so many more repeats."""
    squares = [
        squared((value - bottle.mean) / guess)
        for bottle in bench.dilute_bottles
        if len(bottle.values) > 1
        for value in bottle.values
    ]
    dof = float(sum(len(bottle.values) - 1 for bottle in bench.dilute_bottles))
    if bench.instrument.history is not None:
        sd, history = bench.instrument.history
        counted = min(history, MOST_HISTORY)
        squares.append(counted * squared(sd / guess))
        dof += counted
    try:
        return math.fsum(squares), dof
    except OverflowError:
        return math.inf, dof


def _beside(bench: Bench, subject: Subject) -> float:
    """Variance of the mean of a subject's bottles that more readings would not lessen: what
    correcting the temperature leaves, and the density of standards that were weighed, which
    stretches all percents alike, so that it counts by how far a reading stands above water."""
    doubt, shared = bench.shared_doubt, 0.0
    if doubt:
        shared = squared(doubt * (subject.reading - bench.water.mean))
    if bench.correct_to_c is None:
        return shared
    return shared + squared(mean_of([unsure(bench, b) for b in subject.bottles], subject.where))
