"""How often the interval covers the truth: simulated benches, by the engine's own code.

    python -m tests.perf.coverage [--trials 20000] [--seed 1]

Everything is invented and simulated: an index meter that rounds to its step, noise before the
rounding, standards made to 1 % of their percent, one sample bottle between nominal and 1.3 nominal.
Each cell is run with the repeatability stated as it is, at half of it, not at all, and not at all
but with a history of ten degrees of freedom. The textbook column is Student's interval from the
residual scatter alone, for comparison.
"""

import argparse
import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from calc.batch import Benches, answers
from calc.findings import FLAT
from calc.interval import guessed_sd
from calc.inverse import read_off
from calc.line import Line
from calc.stack import MOST_HISTORY
from calc.standards import suggested_percents
from calc.student import coverage_factor

SLOPE = 1.8e-4  # index per %, as of a concentrate near 1.351
WATER = 1.3330
MADE_TO = 0.01
RESOLUTIONS = (1e-4, 1e-5)
NOISES = (2e-5, 5e-5, 1e-4)
NOMINALS = (1.0, 3.0, 6.0)
STANDARDS = (2, 3)  # beside water
REPLICATES = (1, 2, 3)
STATED = ("as it is", "half of it", "not at all", "history")


@dataclass(frozen=True)
class Cell:
    resolution: float
    noise: float
    nominal: float
    standards: int
    replicates: int


@dataclass
class Found:
    """Coverage and median half-width of one cell, by how the repeatability is stated."""

    cell: Cell
    coverage: dict[str, float] = field(default_factory=dict)
    half_width: dict[str, float] = field(default_factory=dict)

    def note(self, how: str, percent: Any, high: Any, truth: Any, line: Line) -> None:
        """Benches whose line does not rise have no result and do not count."""
        rises = line.slope > FLAT * WATER
        percent, high, truth = percent[rises], high[rises], truth[rises]
        half = high - percent
        self.coverage[how] = float(np.mean(np.abs(percent - truth) <= half))
        self.half_width[how] = float(np.median(half))


def cells() -> Iterable[Cell]:
    return itertools.starmap(
        Cell, itertools.product(RESOLUTIONS, NOISES, NOMINALS, STANDARDS, REPLICATES)
    )


def simulated(cell: Cell, trials: int, rng: np.random.Generator) -> tuple[Benches, Any]:
    """Benches of one cell with a guess of 1 reading unit, and the true percent of each sample."""
    three = suggested_percents(cell.nominal)
    written = np.array([0.0, *(three if cell.standards == 3 else (three[0], three[-1]))])
    made = written[:, None] * (1 + MADE_TO * rng.normal(size=(len(written), trials)))
    truth = rng.uniform(cell.nominal, 1.3 * cell.nominal, size=trials)
    level = WATER + cell.resolution * rng.uniform(size=trials)  # so that the steps fall anywhere
    true = level + SLOPE * np.vstack([made, truth])
    noise = rng.normal(scale=cell.noise, size=(cell.replicates, *true.shape))
    read = np.round((true + noise) / cell.resolution) * cell.resolution
    mean = read.mean(axis=0)
    shape = (len(written), trials)
    ones = np.ones((1, trials))
    return Benches(
        percent=np.broadcast_to(written[:, None], shape),
        reading=mean[:-1],
        u_percent=np.broadcast_to(MADE_TO * written[:, None], shape),
        readings=np.full(shape, float(cell.replicates)),
        used=np.ones(shape),
        result_reading=mean[-1:],
        result_bottles=ones,
        result_share=ones / cell.replicates,
        result_beside=0 * ones,
        guess=np.ones(trials),
        resolution=np.full(trials, cell.resolution),
        within_squares=np.square(read - mean).sum(axis=(0, 1)),
        within_dof=np.full(trials, float(true.shape[0] * (cell.replicates - 1))),
        lower=np.full(trials, cell.nominal),
        upper=np.full(trials, 1.3 * cell.nominal),
    ), truth


def stated(benches: Benches, cell: Cell, how: str, rng: np.random.Generator) -> Benches:
    """The same benches as the engine takes them when the repeatability is stated that way."""
    sd = {"as it is": cell.noise, "half of it": cell.noise / 2}.get(how)
    guess = guessed_sd("refractive_index", cell.resolution, sd)
    squares, dof = benches.within_squares, benches.within_dof
    if how == "history":
        pooled = np.square(cell.noise) * rng.chisquare(MOST_HISTORY, size=len(squares))
        rounding = MOST_HISTORY * cell.resolution**2 / 12
        squares, dof = squares + pooled + rounding, dof + MOST_HISTORY
    return replace(
        benches, guess=guess * benches.guess, within_squares=squares / guess**2, within_dof=dof
    )


def run(cell: Cell, trials: int, rng: np.random.Generator) -> Found:
    benches, truth = simulated(cell, trials, rng)
    found = Found(cell)
    for how in STATED:
        with np.errstate(all="ignore"):  # steps so coarse that the line is flat
            answer = answers(stated(benches, cell, how, rng))
        found.note(how, answer.estimate.percent[0], answer.estimate.high[0], truth, answer.line)
    line = answer.line
    with np.errstate(all="ignore"):
        plain = read_off(line, benches.result_reading, 1, line.residual_sd)
        high = plain.percent[0] + coverage_factor(cell.standards - 1) * plain.u_percent[0]
    found.note("textbook", plain.percent[0], high, truth, line)
    return found


def report(found: list[Found]) -> str:
    """A Markdown table of the lowest coverage over nominals, points and replicates, and how wide
    the interval is beside the textbook's."""
    columns = ("textbook", *STATED)
    lines = [
        "| step | noise | " + " | ".join(columns) + " | half-width beside the textbook's |",
        "|---" * (len(columns) + 3) + "|",
    ]
    for resolution, noise in itertools.product(RESOLUTIONS, NOISES):
        own = [f for f in found if (f.cell.resolution, f.cell.noise) == (resolution, noise)]
        lows = [f"{100 * min(f.coverage[how] for f in own):.1f} %" for how in columns]
        ratio = np.median([f.half_width["as it is"] / f.half_width["textbook"] for f in own])
        lines.append(f"| {resolution:g} | {noise:g} | " + " | ".join(lows) + f" | {ratio:.2f} |")
    return "\n".join(lines)


def summary(found: list[Found]) -> str:
    """The figures that are asked for, over all cells."""
    fair = [f for f in found if f.coverage["textbook"] >= 0.94]
    ratios = [f.half_width["as it is"] / f.half_width["textbook"] for f in fair]
    lowest = {how: min(found, key=lambda f, how=how: f.coverage[how]) for how in STATED}
    lines = [
        f"lowest coverage, repeatability stated {how}: {100 * f.coverage[how]:.2f} %  {f.cell}"
        for how, f in lowest.items()
    ]
    lines.append(
        f"median half-width over the textbook's in the {len(fair)} cells where that covers: "
        f"{np.median(ratios):.3f}"
    )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.perf.coverage")
    parser.add_argument("--trials", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    found = [run(cell, given.trials, rng) for cell in cells()]
    print(report(found))
    print()
    print(f"{len(found)} cells of {given.trials} trials each, seed {given.seed}")
    print(summary(found))


if __name__ == "__main__":
    main()
