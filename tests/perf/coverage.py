"""How often the interval covers the truth: simulated benches, by the engine's own code.

    python -m tests.perf.coverage [--trials 20000] [--seed 1] [--method refractive_index]

Everything is invented and simulated: a meter that rounds to its step, noise before the
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

MADE_TO = 0.01
NOMINALS = (1.0, 3.0, 6.0)
STANDARDS = (2, 3)  # beside water
REPLICATES = (1, 2, 3)
STATED = ("as it is", "half of it", "not at all", "history")


@dataclass(frozen=True)
class Meter:
    """What one method shows of water and per percent, and the steps and noises that are tried."""

    water: float
    slope: float
    resolutions: tuple[float, ...]
    noises: tuple[float, ...]


# An ordinary weak concentrate (index 1.351) by common practice, no published source: 1.8e-4 of
# index is 0.12 % Brix. Conductivity over tap water, where a meter shows whole µS/cm or tens.
METERS = {
    "refractive_index": Meter(1.3330, 1.8e-4, (1e-4, 1e-5), (2e-5, 5e-5, 1e-4)),
    "brix": Meter(0.2, 0.12, (0.1, 0.01), (0.015, 0.035, 0.07)),
    "conductivity": Meter(400.0, 100.0, (10.0, 1.0), (2.0, 5.0, 10.0)),
}


@dataclass(frozen=True)
class Cell:
    method: str
    resolution: float
    noise: float
    nominal: float
    standards: int
    replicates: int

    @property
    def meter(self) -> Meter:
        return METERS[self.method]


@dataclass
class Found:
    """Coverage and median half-width of one cell, by how the repeatability is stated."""

    cell: Cell
    coverage: dict[str, float] = field(default_factory=dict)
    half_width: dict[str, float] = field(default_factory=dict)

    def note(self, how: str, percent: Any, high: Any, truth: Any, line: Line) -> None:
        """Benches whose line does not rise have no result and do not count."""
        rises = line.slope > FLAT * self.cell.meter.water
        percent, high, truth = percent[rises], high[rises], truth[rises]
        half = high - percent
        self.coverage[how] = float(np.mean(np.abs(percent - truth) <= half))
        self.half_width[how] = float(np.median(half))

    @property
    def beside_textbook(self) -> float:
        """Infinite where the textbook's has no width, because steps hid all scatter."""
        textbook = self.half_width["textbook"]
        return self.half_width["as it is"] / textbook if textbook else float("inf")


def cells(method: str) -> Iterable[Cell]:
    meter = METERS[method]
    return itertools.starmap(
        Cell,
        itertools.product(
            (method,), meter.resolutions, meter.noises, NOMINALS, STANDARDS, REPLICATES
        ),
    )


def simulated(cell: Cell, trials: int, rng: np.random.Generator) -> tuple[Benches, Any]:
    """Benches of one cell with a guess of 1 reading unit, and the true percent of each sample."""
    three = suggested_percents(cell.nominal)
    written = np.array([0.0, *(three if cell.standards == 3 else (three[0], three[-1]))])
    made = written[:, None] * (1 + MADE_TO * rng.normal(size=(len(written), trials)))
    truth = rng.uniform(cell.nominal, 1.3 * cell.nominal, size=trials)
    meter = cell.meter
    level = meter.water + cell.resolution * rng.uniform(size=trials)  # steps fall anywhere
    true = level + meter.slope * np.vstack([made, truth])
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
    guess = guessed_sd(cell.method, cell.resolution, sd, benches.reading[1:].mean(axis=0))
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
    meter = found[0].cell.meter
    for resolution, noise in itertools.product(meter.resolutions, meter.noises):
        own = [f for f in found if (f.cell.resolution, f.cell.noise) == (resolution, noise)]
        lows = [f"{100 * min(f.coverage[how] for f in own):.1f} %" for how in columns]
        ratio = np.median([f.beside_textbook for f in own])
        lines.append(f"| {resolution:g} | {noise:g} | " + " | ".join(lows) + f" | {ratio:.2f} |")
    return "\n".join(lines)


def summary(found: list[Found]) -> str:
    """The figures that are asked for, over all cells."""
    fair = [f for f in found if f.coverage["textbook"] >= 0.94]
    ratios = [f.beside_textbook for f in fair]
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
    parser.add_argument("--method", choices=METERS, default="refractive_index")
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    found = [run(cell, given.trials, rng) for cell in cells(given.method)]
    print(report(found))
    print()
    print(f"{len(found)} cells of {given.trials} trials each, {given.method}, seed {given.seed}")
    print(summary(found))


if __name__ == "__main__":
    main()
