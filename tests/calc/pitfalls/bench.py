"""A bench whose truth is known, so that a slip can be put in and its size read off.

Water, concentrates and percents are invented; the two slopes, 3.0e-4 and 1.7e-4 index per percent,
are those of ordinary 3 % concentrates by common practice, no published source.
"""

import copy
from typing import Any

import calc
from calc.errors import Warned
from calc.result import Evaluation, Result
from tests.calc.benches import a_bench, readings, standards

WATER = 1.33300
STEEP, FLAT = 1.36300, 1.35000  # index of two undiluted concentrates
METER = {"resolution": 1e-5, "repeatability": 2e-5, "temperature_compensated": False}
MADE = (2.0, 3.0, 4.0)


def slope(concentrate: float) -> float:
    """Index per percent, by mixing."""
    return (concentrate - WATER) / 100


def shown(percent: float, concentrate: float = STEEP) -> float:
    """What a perfect meter shows for a mixture."""
    return WATER + slope(concentrate) * percent


def true_bench(undiluted: float = STEEP, sample: float = 3.4, **changes: Any) -> dict[str, Any]:
    """Perfect readings of a 3 % system, one sample that truly holds `sample` percent."""
    bench = a_bench(
        instrument=METER,
        water=readings(WATER),
        standards=made_standards(undiluted),
        concentrate=readings(undiluted),
        samples=[{"name": "design", "readings": readings(shown(sample, undiluted))}],
    )
    return {**bench, **changes}


def made_standards(
    concentrate: float = STEEP, holding: float = 1.0, written: tuple[float, ...] = MADE
) -> list[dict[str, Any]]:
    """Standards that hold `holding` of the percent that is written on them."""
    return standards(list(written), [shown(holding * percent, concentrate) for percent in written])


def in_steps(bench: dict[str, Any], resolution: float) -> dict[str, Any]:
    """The same bench read with a display of other steps, every reading rounded to one."""
    coarse = copy.deepcopy(bench)
    coarse["instrument"]["resolution"] = resolution
    bottles = [coarse["water"], *(b["readings"] for b in coarse["standards"] + coarse["samples"])]
    for reading in [reading for bottle in bottles for reading in bottle]:
        reading["value"] = round(reading["value"] / resolution) * resolution
    return coarse


def warned(bench: dict[str, Any], code: str) -> list[Warned]:
    return [one for one in calc.evaluate(bench).warnings if one.code == code]


def codes(result: Evaluation) -> set[str]:
    return {one.code for one in result.warnings}


def answer(bench: dict[str, Any]) -> Result:
    """The result of the only flow point."""
    (result,) = calc.evaluate(bench).flow_points
    return result
