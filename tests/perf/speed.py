"""Ratios of speed within one run: the engine against a plain loop over scipy.

    python -m tests.perf.speed [--tests 100000] [--forms 20000]

Every test has five standards and six samples, each its own flow point. The loop does what a script
would do for each test: scipy's line fit, percents by its slope, Student's interval of the textbook
and the probability of lying in band. Absolute times depend on the machine; the ratios hardly do.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

POINTS, SAMPLES = 5, 6
LOWER, UPPER = 3.0, 3.9


def invented(tests: int) -> tuple[Any, Any, Any]:
    """Percents, readings of the standards and of the samples; invented."""
    rng = np.random.default_rng(7)
    percent = np.tile(np.array([0.0, 2.0, 3.0, 4.0, 5.0])[:, None], (1, tests))
    reading = 1.333 + 2e-4 * percent + rng.normal(scale=2e-5, size=percent.shape)
    truth = rng.uniform(2.5, 4.5, size=(SAMPLES, tests))
    samples = 1.333 + 2e-4 * truth + rng.normal(scale=2e-5, size=truth.shape)
    return percent, np.round(reading, 5), np.round(samples, 5)


def by_scipy(percent: Any, reading: Any, samples: Any, whole: bool) -> None:
    """The peer, one test after the other."""
    from scipy.stats import linregress, t

    count = len(percent)
    for i in range(percent.shape[1]):
        x, y = percent[:, i], reading[:, i]
        fit = linregress(x, y)
        found = (samples[:, i] - fit.intercept) / fit.slope
        if not whole:
            continue
        spread = ((x - x.mean()) ** 2).sum()
        sd = np.sqrt(((y - fit.intercept - fit.slope * x) ** 2).sum() / (count - 2))
        u = sd / fit.slope * np.sqrt(1 + 1 / count + (found - x.mean()) ** 2 / spread)
        t.ppf(0.975, count - 2) * u
        below_upper, below_lower = t.cdf(np.array([UPPER - found, LOWER - found]) / u, count - 2)
        below_upper - below_lower


def arrays(percent: Any, reading: Any, samples: Any) -> Any:
    from calc.batch import Benches

    tests = percent.shape[1]
    ones, per_sample = np.ones(tests), np.ones((SAMPLES, tests))
    return Benches(
        percent=percent,
        reading=reading,
        u_percent=0.01 * percent,
        readings=np.ones(percent.shape),
        used=None,
        result_reading=samples,
        result_bottles=per_sample,
        result_share=per_sample,
        result_beside=0 * per_sample,
        guess=3e-5 * ones,
        resolution=1e-5 * ones,
        within_squares=0 * ones,
        within_dof=0 * ones,
        lower=LOWER * ones,
        upper=UPPER * ones,
    )


def form(percent: Any, reading: Any, samples: Any, i: int) -> dict[str, Any]:
    def one(value: float) -> list[dict[str, float]]:
        return [{"value": float(value), "temperature_c": 20.0}]

    return {
        "method": "refractive_index",
        "nominal_percent": LOWER,
        "criterion": "common",
        "instrument": {
            "resolution": 1e-5,
            "repeatability": 2e-5,
            "temperature_compensated": False,
        },
        "water": one(reading[0, i]),
        "standards": [
            {"percent": float(percent[p, i]), "readings": one(reading[p, i])}
            for p in range(1, POINTS)
        ],
        "concentrate": None,
        "samples": [
            {"name": f"bottle {s}", "readings": one(samples[s, i])} for s in range(SAMPLES)
        ],
    }


def line_and_percent(percent: Any, reading: Any, samples: Any) -> None:
    from calc.batch import CHUNK
    from calc.line import fit_line

    for start in range(0, percent.shape[1], CHUNK):
        part = slice(start, start + CHUNK)
        line = fit_line(percent[:, part], reading[:, part])
        (samples[:, part] - line.intercept) / line.slope


def command_seconds(text: list[str]) -> float:
    """The command over a file of so many tests, start and end included."""
    with tempfile.NamedTemporaryFile("w", suffix=".jsonl") as file:
        file.write("\n".join(text))
        file.flush()
        command = [sys.executable, "-m", "calc", "evaluate", "--lines", file.name]
        run = partial(subprocess.run, command, check=True, stdout=subprocess.DEVNULL)
        return seconds(run, 1)


def seconds(work: Callable[[], object], repeats: int = 3) -> float:
    """The best of some runs."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def import_seconds(statement: str) -> float:
    """How much longer a fresh Python takes with the statement than with numpy alone."""

    def run(code: str) -> float:
        command = [sys.executable, "-c", code]
        return seconds(lambda: subprocess.run(command, check=True, env=os.environ), 5)

    return run(f"import numpy; {statement}") - run("import numpy")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.perf.speed")
    parser.add_argument("--tests", type=int, default=100_000)
    parser.add_argument("--forms", type=int, default=20_000)
    given = parser.parse_args()

    from scipy.stats import linregress

    import calc
    from calc.batch import answers

    data = invented(given.tests)
    few = tuple(a[:, :2000] for a in data)
    loop_line = seconds(lambda: by_scipy(*few, whole=False), 2) / 2000
    loop = seconds(lambda: by_scipy(*few, whole=True), 2) / 2000
    own_line = seconds(lambda: line_and_percent(*data)) / given.tests
    benches = arrays(*data)
    own = seconds(lambda: answers(benches)) / given.tests
    forms = [form(*data, i) for i in range(min(given.forms, given.tests))]
    many = seconds(lambda: calc.evaluate_many(forms), 1) / len(forms)
    text = [json.dumps(one) for one in forms]
    by_lines = command_seconds(text) / len(forms)
    read = seconds(lambda: [json.loads(one) for one in text], 1) / len(forms)
    x, y = data[0][:, 0], data[1][:, 0]
    fit = seconds(lambda: [linregress(x, y) for _ in range(300)]) / 300
    single = seconds(lambda: [calc.evaluate(forms[0]) for _ in range(300)]) / 300

    print(f"{given.tests} tests of {POINTS} standards and {SAMPLES} samples")
    print(f"loop over scipy, line and percent      {1 / loop_line:12,.0f} tests/s")
    print(f"loop, with interval and probability    {1 / loop:12,.0f} tests/s")
    print(f"arrays, line and percent               {1 / own_line:12,.0f} tests/s")
    print(f"arrays, with interval and probability  {1 / own:12,.0f} tests/s")
    print(f"forms, with warnings and digest        {1 / many:12,.0f} tests/s")
    print(f"the command evaluate --lines          {1 / by_lines:12,.0f} tests/s")
    print(f"reading the same forms as JSON         {1 / read:12,.0f} tests/s")
    print(f"line and percent over the loop         {loop_line / own_line:8,.0f} x (at least 1,000)")
    print(f"interval and probability over the loop {loop / own:8,.0f} x (at least 100)")
    print(f"one evaluate over one linregress       {single / fit:8.1f} x (at most 10)")
    own_import = import_seconds("import calc")
    print(f"import of calc over that of numpy      {own_import:8.2f} s (at most 0.3)")


if __name__ == "__main__":
    main()
