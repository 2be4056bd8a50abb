"""What stands in the tank: still the lot, or diluted, thickened, mixed with another, in layers.

The strength of the concentrate and the percent of the solution are two statements. A perfect
proportioner on a diluted tank delivers the right percent of the wrong liquid.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from calc.arguments import not_negative, numbers, positive
from calc.errors import CalcError
from calc.measured import Measured, Part, measured
from calc.student import coverage_factor
from calc.sums import ordered_sum

DILUTED, THICKENED, UNCHANGED = "diluted", "water lost", "no change shown"
OTHER_LIQUID = "not water alone"
STRATIFIED, NO_LAYERS = "stratified", "no layers shown"
TANK, LOT = "tank", "lot"


@dataclass(frozen=True, slots=True)
class Share:
    """How much of a liquid is the lot's concentrate, by one property; shares of 1."""

    share: float
    u_share: float


@dataclass(frozen=True, slots=True)
class Strength:
    """How much of the tank is concentrate of the lot, by all properties together; shares of 1."""

    share_left: float
    u_share_left: float
    low: float  # two-sided 95 %
    high: float
    statement: str  # diluted | water lost | no change shown | not water alone
    parts: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class Layers:
    """Samples of one tank against each other."""

    largest: float  # difference between two samples, unit of the property
    allowed: float  # what the instrument alone may differ by, at 95 % over all pairs
    statement: str  # stratified | no layers shown


@dataclass(frozen=True, slots=True)
class Baseline:
    """What a property of the tank's mixture ought to be; unit of the property."""

    value: float
    u_value: float


def share_left(
    tank: float, lot: float, water: float, u_tank: float, u_lot: float, u_water: float
) -> Share:
    """Share of concentrate left in a tank by one property that mixes by volume.

    Parameters
    ----------
    tank, lot, water : index (-) or density (kg/m³) of the sample, of the lot when delivered and of
        water, at one temperature.
    u_tank, u_lot, u_water : >= 0, same unit, standard uncertainties.

    Returns
    -------
    Share; above 1 where the sample is stronger than the lot was.

    Raises: not_a_number, not_finite, out_of_range, like_water.
    Notes: (tank - water)/(lot - water); the three are independent. Refused where the lot differs
    from water by less than twice the uncertainty of the lot and the water: then the property says
    nothing.
    Source: mixing by volume, (n - n_water)/(n_lot - n_water). Check:
    tests/calc/test_concentrate.py.
    """
    values = [float(numbers(w, v)) for w, v in (("tank", tank), ("lot", lot), ("water", water))]
    given = (("u_tank", u_tank), ("u_lot", u_lot), ("u_water", u_water))
    u_values = [float(not_negative(where, u)) for where, u in given]
    rise = values[1] - values[2]
    if abs(rise) <= 2 * math.hypot(u_values[1], u_values[2]):
        raise CalcError("like_water", "lot")
    share = (values[0] - values[2]) / rise
    u_share = math.hypot(u_values[0], share * u_values[1], (1 - share) * u_values[2]) / abs(rise)
    return Share(share, u_share)


def strength(shares: Sequence[Share]) -> Strength:
    """What index and density together say about the liquid in the tank.

    Parameters
    ----------
    shares : 1 or more, one for each property, u_share > 0, independent of each other.

    Returns
    -------
    Strength. "not water alone" where two shares differ by more than their uncertainty: water moves
    all of them alike, another liquid does not. With one share that cannot be seen.

    Raises: empty_list, out_of_range.
    Notes: mean weighted by 1/u²; agreement at 95 % shared over all pairs (Bonferroni). Its standard
    uncertainty is the larger of the one from the parts and the one from their scatter.
    Source: weighted mean with internal and external uncertainty, Birge, Phys. Rev. 40 (1932) 207
    (from memory). Check: tests/calc/test_concentrate.py.
    """
    if not shares:
        raise CalcError("empty_list", "shares")
    for share in shares:
        positive("u_share", share.u_share)
    weights = np.array([1 / share.u_share**2 for share in shares])
    values = np.array([share.share for share in shares])
    total = float(ordered_sum(weights))
    mean = float(ordered_sum(weights * values)) / total
    scatter = float(ordered_sum(weights * (values - mean) ** 2)) / max(len(shares) - 1, 1)
    u_mean = math.sqrt(max(scatter, 1.0) / total)
    half = float(coverage_factor(math.inf)) * u_mean
    if not _agree(shares):
        statement = OTHER_LIQUID
    elif mean + half < 1:
        statement = DILUTED
    else:
        statement = THICKENED if mean - half > 1 else UNCHANGED
    return Strength(mean, u_mean, mean - half, mean + half, statement, tuple(shares))


def layers(values: Any, u_values: Any) -> Layers:
    """Whether samples from different heights of one tank differ.

    Parameters
    ----------
    values : array_like, at least 2, one property of each sample, one unit and temperature.
    u_values : array_like, > 0, one for all or one for each.

    Returns
    -------
    Layers, for the pair that stands out most against its uncertainty.

    Raises: not_a_number, not_finite, out_of_range, too_few_points.
    Notes: normal factor at 95 % shared over all pairs (Bonferroni). Samples drawn after the tank
    was circulated say nothing about layers.
    Source: JCGM 100:2008, 5.1.2; Bonferroni. Check: tests/calc/test_concentrate.py.
    """
    listed = np.atleast_1d(numbers("values", values))
    if len(listed) < 2:
        raise CalcError("too_few_points", "values", count=len(listed), least=2)
    u = np.broadcast_to(positive("u_values", u_values), listed.shape)
    pairs = list(combinations(range(len(listed)), 2))
    k = float(coverage_factor(math.inf, 1 - 0.05 / len(pairs)))
    apart = [
        (abs(float(listed[i] - listed[j])), k * math.hypot(float(u[i]), float(u[j])))
        for i, j in pairs
    ]
    largest, allowed = max(apart, key=lambda pair: pair[0] / pair[1])
    return Layers(largest, allowed, STRATIFIED if largest > allowed else NO_LAYERS)


def mixture_baseline(
    volumes: Any, values: Any, u_volumes: Any = 0.0, u_values: Any = 0.0
) -> Baseline:
    """What index or density of a tank ought to be after its fills.

    Parameters
    ----------
    volumes : array_like, > 0. What is left of each fill, one unit.
    values : array_like, index (-) or density (kg/m³) of each lot, at one temperature.
    u_volumes, u_values : array_like, >= 0, same units, standard uncertainties.

    Returns
    -------
    Baseline.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: Σ V x/Σ V; sensitivities V/ΣV to a value and (x - mean)/ΣV to a volume. Only what mixes
    by volume: pH and viscosity do not. Only lots that their makers allow to be mixed.
    Source: mixing by volume; mass balance for the density. Check: tests/calc/test_concentrate.py.
    """
    v = np.atleast_1d(positive("volumes", volumes))
    x = np.atleast_1d(numbers("values", values))
    if v.shape != x.shape:
        raise CalcError("shapes_differ", "values")
    u_v = np.broadcast_to(not_negative("u_volumes", u_volumes), v.shape)
    u_x = np.broadcast_to(not_negative("u_values", u_values), v.shape)
    total = ordered_sum(v)
    mean = ordered_sum(v * x) / total
    squares = ((v / total) * u_x) ** 2 + ((x - mean) / total * u_v) ** 2
    return Baseline(float(mean), float(np.sqrt(ordered_sum(squares))))


def percent_of_lot(
    percent: float, u_percent: float, left: Strength, standards_from: str
) -> Measured:
    """The percent of the lot's own concentrate that reaches the solution.

    Parameters
    ----------
    percent, u_percent : > 0, % by volume, as the proportioning test found it.
    left : Strength of the tank.
    standards_from : "tank" where the standards were mixed from the tank, "lot" where they were
        mixed from undiluted concentrate of the lot.

    Returns
    -------
    Measured, infinite degrees of freedom.

    Raises: not_a_number, not_finite, out_of_range, unknown_choice.
    Notes: percent × share left with standards from the tank, which hide the dilution; the percent
    itself with standards from the lot, which show it as lean.
    Source: JCGM 100:2008, 5.1.2. Check: tests/calc/test_concentrate.py.
    """
    if standards_from not in (TANK, LOT):
        choices = f'"{TANK}", "{LOT}"'
        raise CalcError("unknown_choice", "standards_from", got="another word", choices=choices)
    value, u = float(positive("percent", percent)), float(positive("u_percent", u_percent))
    if standards_from == LOT:
        return measured(value, [Part("percent of the solution", u)])
    return measured(
        value * left.share_left,
        [
            Part("percent of the solution", u * left.share_left),
            Part("strength of the concentrate", value * left.u_share_left),
        ],
    )


def _agree(shares: Sequence[Share]) -> bool:
    pairs = list(combinations(shares, 2))
    if not pairs:
        return True
    k = float(coverage_factor(math.inf, 1 - 0.05 / len(pairs)))
    return all(abs(a.share - b.share) <= k * math.hypot(a.u_share, b.u_share) for a, b in pairs)
