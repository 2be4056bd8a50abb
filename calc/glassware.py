"""How exactly the tools of the bench measure: tolerance tables as data, and what they cost.

Each table names its source and how sure its figures are. A tool that carries its own figure comes
first; the tables are for tools that only carry a class.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import not_negative, positive
from calc.errors import CalcError, quoted

RECTANGULAR, TRIANGULAR = "rectangular", "triangular"
# Half width over standard uncertainty, exact; JCGM 100:2008, 4.3.7 and 4.3.9.
DIVISOR = {RECTANGULAR: math.sqrt(3), TRIANGULAR: math.sqrt(6)}
FROM_MEMORY, LOOKED_UP = "from memory", "looked up second-hand"
SYRINGE_SMALL, SYRINGE_LARGE = 0.05, 0.04  # of the expelled volume, ISO 7886-1 (from memory)
SYRINGE_STEP = 5e-6  # m³ nominal from which the smaller share holds, ISO 7886-1 (from memory)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What one delivery of a tool may be off, m³."""

    half_width: float  # bound of the systematic error, the same at every delivery
    distribution: str  # rectangular | triangular, inside that bound
    random_sd: float  # from delivery to delivery
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Table:
    """Tolerances of one kind of tool by nominal volume in mL; shares are of the nominal volume."""

    limits: dict[float, float]  # nominal mL → half width, mL or share
    random: dict[float, float]  # nominal mL → standard deviation, share; empty where none is given
    shares: bool
    distribution: str
    source: str
    confidence: str


# Rectangular where nothing more is known (JCGM 100:2008, 4.3.7); triangular for one-mark glass,
# whose makers aim at the middle (Eurachem QUAM, example A1).
TABLES = {
    "graduated cylinder, class A": Table(
        {10: 0.1, 25: 0.25, 50: 0.5, 100: 0.5, 250: 1.0, 500: 2.5, 1000: 5.0},
        {},
        False,
        RECTANGULAR,
        "ISO 4788:2005",
        FROM_MEMORY,
    ),
    "graduated cylinder, class B": Table(
        {10: 0.2, 25: 0.5, 50: 1.0, 100: 1.0, 250: 2.0, 500: 5.0, 1000: 10.0},
        {},
        False,
        RECTANGULAR,
        "ISO 4788:2005",
        FROM_MEMORY,
    ),
    "one-mark flask, class A": Table(
        {100: 0.1, 250: 0.15, 500: 0.25, 1000: 0.4}, {}, False, TRIANGULAR, "ISO 1042", FROM_MEMORY
    ),
    "one-mark pipette, class A": Table(
        {5: 0.015, 10: 0.02, 25: 0.03}, {}, False, TRIANGULAR, "ISO 648", FROM_MEMORY
    ),
    "piston pipette, positive displacement": Table(
        {0.001: 0.05, 0.005: 0.025, 0.01: 0.02, 0.1: 0.015, 1.0: 0.012},
        {0.001: 0.05, 0.005: 0.015, 0.01: 0.01, 0.1: 0.006, 1.0: 0.004},
        True,
        RECTANGULAR,
        "ISO 8655-2, type D",
        LOOKED_UP,
    ),
    "piston pipette, air displacement": Table(
        {0.01: 0.012, 0.1: 0.008, 1.0: 0.008, 10.0: 0.006},
        {0.01: 0.008, 0.1: 0.003, 1.0: 0.003, 10.0: 0.003},
        True,
        RECTANGULAR,
        "ISO 8655-2, type A",
        FROM_MEMORY,
    ),
}


def tolerance(kind: str, nominal: float) -> Tolerance:
    """Maximum permissible error of a tool that carries a class.

    Parameters
    ----------
    kind : str, one of the keys of TABLES.
    nominal : float, m³. Nominal volume, one of those that the table has.

    Returns
    -------
    Tolerance, m³.

    Raises: unknown_choice, not_in_table.
    Notes: for a liquid that runs like water. A thick concentrate leaves 5 to 10 % in a pipette
    (common practice, no source): weigh it or use a positive-displacement syringe.
    Source: ISO 4788, ISO 1042, ISO 648, ISO 8655-2, as each row says. Check:
    fixtures/reference/check-values.json D-07, D-08, D-09, D-11.
    """
    if kind not in TABLES:
        raise CalcError("unknown_choice", "kind", got=quoted(str(kind)), choices="; ".join(TABLES))
    table = TABLES[kind]
    size = next((s for s in table.limits if math.isclose(s * 1e-6, nominal, rel_tol=1e-9)), None)
    if size is None:
        sizes = ", ".join(f"{s:g}" for s in table.limits)
        raise CalcError("not_in_table", "nominal", got=nominal * 1e6, kind=kind, sizes=sizes)
    unit = size * 1e-6 if table.shares else 1e-6
    return Tolerance(
        half_width=table.limits[size] * unit,
        distribution=table.distribution,
        random_sd=table.random.get(size, 0.0) * size * 1e-6,
        source=table.source,
        confidence=table.confidence,
    )


def syringe_tolerance(nominal: float, expelled: float) -> Tolerance:
    """Tolerance of a sterile single-use syringe on the volume that was expelled.

    Parameters
    ----------
    nominal : float, > 0, m³.
    expelled : float, m³, from half of nominal to nominal.

    Returns
    -------
    Tolerance, m³.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: 5 % of the expelled volume below 5 mL nominal, 4 % from there on. Below half of nominal
    another rule holds, and a smaller syringe is the better tool.
    Source: ISO 7886-1, graduated capacity (from memory). Check:
    fixtures/reference/check-values.json D-10.
    """
    size, volume = positive("nominal", nominal), positive("expelled", expelled)
    if not size / 2 * (1 - 1e-9) <= volume <= size * (1 + 1e-9):
        want = "a volume from half of the syringe to the whole of it"
        raise CalcError("out_of_range", "expelled", got=float(volume), want=want)
    share = SYRINGE_SMALL if size < SYRINGE_STEP * (1 - 1e-9) else SYRINGE_LARGE
    return Tolerance(float(share * volume), RECTANGULAR, 0.0, "ISO 7886-1", FROM_MEMORY)


def own_tolerance(
    half_width: float, random_sd: float = 0.0, distribution: str = RECTANGULAR
) -> Tolerance:
    """Tolerance as it stands on the tool or its certificate.

    Parameters
    ----------
    half_width, random_sd : float, >= 0, m³.
    distribution : "rectangular" or "triangular".

    Raises: not_a_number, not_finite, out_of_range, unknown_choice.
    Source: the figure is the maker's. Check: tests/calc/test_glassware.py.
    """
    if distribution not in DIVISOR:
        choices = '"rectangular", "triangular"'
        raise CalcError(
            "unknown_choice", "distribution", got=quoted(str(distribution)), choices=choices
        )
    wide, random = not_negative("half_width", half_width), not_negative("random_sd", random_sd)
    return Tolerance(float(wide), distribution, float(random), "marked on the tool", "as marked")


def u_volume(tool: Tolerance, deliveries: int = 1) -> float:
    """Standard uncertainty of a volume measured with a tool, in one or more deliveries.

    Parameters
    ----------
    tool : Tolerance.
    deliveries : int, >= 1. A syringe that is emptied three times errs three times the same way.

    Returns
    -------
    m³.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: half width over √3 (rectangular) or √6 (triangular), times the deliveries; the random
    part grows with their square root.
    Source: JCGM 100:2008, 4.3.7 and 4.3.9; Eurachem QUAM, example A1. Check:
    tests/calc/test_glassware.py.
    """
    count = float(positive("deliveries", deliveries))
    systematic = tool.half_width / DIVISOR[tool.distribution] * count
    return math.hypot(systematic, tool.random_sd * math.sqrt(count))


def u_of_temperature(volume: Any, half_range_c: Any, expansion: float = 2.1e-4) -> Any:
    """Standard uncertainty of a volume because the liquid is warmer or colder than the glass.

    Parameters
    ----------
    volume : array_like, > 0, any unit.
    half_range_c : array_like, >= 0. The liquid is within ± this of the calibration temperature.
    expansion : float, >= 0, per K by volume; the default is that of water near 20 °C.

    Returns
    -------
    Unit of volume, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: volume × expansion × half range/√3; the glass itself moves a twentieth of that.
    Source: Eurachem QUAM, example A1. Check: tests/calc/test_glassware.py.
    """
    wide = not_negative("half_range_c", half_range_c) * not_negative("expansion", expansion)
    return positive("volume", volume) * wide / DIVISOR[RECTANGULAR]


def u_weighed(resolution: float, half_width: float = 0.0) -> float:
    """Standard uncertainty of a mass found as the difference of two readings of a scale.

    Parameters
    ----------
    resolution : float, > 0. Step of the display, any unit of mass.
    half_width : float, >= 0, same unit. Permissible error of the scale over that difference.

    Returns
    -------
    Unit of resolution.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: both readings are rounded, so √(2 resolution²/12 + half_width²/3). Weighing the
    dispenser before and after leaves out what sticks to it.
    Source: JCGM 100:2008, F.2.2.1 and 4.3.7. Check: tests/calc/test_glassware.py.
    """
    step, wide = positive("resolution", resolution), not_negative("half_width", half_width)
    return float(np.hypot(step / math.sqrt(6), wide / DIVISOR[RECTANGULAR]))
