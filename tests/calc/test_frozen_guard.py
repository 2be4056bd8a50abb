"""The archive sees a figure of the engine that moves by a millionth: test_frozen.py can fail."""

import sys
from dataclasses import dataclass

import numpy as np
import pytest

import calc
from calc import interval, inverse, readings
from tests.calc.test_frozen import FROZEN, assert_same, load, without_words

MILLIONTH = 1 + 1e-6
ENTRIES = [load(path) for path in sorted((FROZEN / calc.__version__).glob("*.json"))]


def those_that_moved():
    """Names of the samples of every archived test that no longer gives what it gave."""
    outcomes = calc.evaluate_many([entry["input"] for entry in ENTRIES])
    moved = []
    for entry, outcome in zip(ENTRIES, outcomes, strict=True):
        try:
            assert_same(without_words(outcome.as_dict()), without_words(entry["result"]))
        except AssertionError:
            moved.append(entry["input"]["samples"][0]["name"])
    return moved


def times(value, factor):
    if isinstance(value, tuple):
        return tuple(times(one, factor) for one in value)
    return value * factor


@dataclass(frozen=True)
class Named:
    """A figure with a name, wherever a module has taken it over; or one entry of a table."""

    module: str
    name: str
    key: str = ""

    def __str__(self):
        return ".".join(filter(None, (self.module, self.name, self.key)))

    def move(self, patch, factor):
        figure = getattr(sys.modules[f"calc.{self.module}"], self.name)
        if self.key:
            patch.setitem(figure, self.key, times(figure[self.key], factor))
            return
        for module in [m for name, m in sys.modules.items() if name.startswith("calc.")]:
            if getattr(module, self.name, None) is figure:
                patch.setattr(module, self.name, times(figure, factor))


@dataclass(frozen=True)
class Within:
    """A number that stands in a function, or a default of its arguments."""

    function: object
    number: float

    def __str__(self):
        return f"{self.function.__name__} {self.number}"

    def move(self, patch, factor):
        code, defaults = self.function.__code__, self.function.__defaults__ or ()
        assert self.number in code.co_consts + defaults

        def moved(values):
            same = [type(v) in (int, float) and v == self.number for v in values]
            return tuple(v * factor if s else v for v, s in zip(values, same, strict=True))

        patch.setattr(self.function, "__code__", code.replace(co_consts=moved(code.co_consts)))
        patch.setattr(self.function, "__defaults__", moved(defaults))


# Every figure on which a number of a result rests. Where one is added, an input in fixtures/frozen
# must feel it.
FIGURES = [
    Named("interval", "CAUTION"),
    Named("interval", "SQUARES"),
    Named("interval", "LOG_PRIOR"),
    Named("interval", "MOST_REPEATS"),
    Named("interval", "COVERAGE_FACTOR"),
    Named("interval", "UNSTATED", "refractive_index"),
    Named("interval", "UNSTATED", "brix"),
    Named("interval", "UNSTATED_SHARE"),
    Within(interval.guessed_sd, 1.5),
    Within(interval.guessed_sd, 2),
    Within(interval.honest_read_off, 12),
    Within(interval.slope_uncertainty, 12),
    Within(inverse.reading_width, 2),
    Named("mixtures", "MADE_TO"),
    Named("mixtures", "DENSITY_HALF_WIDTH"),
    Named("stack", "MOST_HISTORY"),
    Named("student", "SERIES"),
    Named("temperatures", "UNSURE_SHARE"),
    Named("crosscheck", "CONCENTRATE_PER_C"),
    Named("readings", "SUCROSE_TERMS"),
    Within(readings.at_temperature, readings.LINEAR_COEFFICIENT),
    Named("water", "DENSITY_TERMS"),
    Named("water", "INDEX_TERMS"),
    Named("water", "ULTRAVIOLET"),
]


@pytest.mark.parametrize("figure", FIGURES, ids=str)
def test_archive_sees_a_figure_that_moves_by_a_millionth(figure, monkeypatch):
    assert those_that_moved() == []
    figure.move(monkeypatch, MILLIONTH)
    assert those_that_moved() != []


# Half or twice of what only decides between saying something and not.
THRESHOLDS = [
    Named("temperatures", "WARN_APART"),
    Named("temperatures", "OPEN_APART"),
    Named("checks", "COARSE_SHARE"),
    Named("checks", "LEVEL"),
    Named("checks", "ALIKE_SHARE"),
    Named("checks", "DENSITY_APART_C"),
    Named("scales", "MOST_WATER_BRIX"),
]


@pytest.mark.parametrize("threshold", THRESHOLDS, ids=str)
def test_archive_sees_a_threshold_that_halves_or_doubles(threshold, monkeypatch):
    seen = []
    for factor in (0.5, 2.0):
        with monkeypatch.context() as patch:
            threshold.move(patch, factor)
            calc.checks.critical.cache_clear()
            seen += those_that_moved()
    calc.checks.critical.cache_clear()
    assert seen != []


def test_guard_is_quiet_while_nothing_moves(monkeypatch):
    monkeypatch.setattr(interval, "NODES", np.array(interval.NODES))
    assert those_that_moved() == []
