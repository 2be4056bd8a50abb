"""Known mixtures: what to pour, and what was poured."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from calc.arguments import not_negative, one_shape, positive, within
from calc.errors import CalcError

LARGEST_VOLUME = 1e300  # any unit, own choice: keeps sums and products within the range of doubles


@dataclass(frozen=True, slots=True)
class Recipe:
    """Volumes for one standard, in the unit of the batch volume."""

    concentrate: float
    water: float


@dataclass(frozen=True, slots=True)
class MassRecipe:
    """Masses for one standard, in the unit of volume times density."""

    concentrate: float
    water: float


@dataclass(frozen=True, slots=True)
class AsMade:
    """Percent by volume of a standard as it was really made, with its standard uncertainty."""

    percent: Any
    u_percent: Any


def recipe(batch_volume: float, percent: float) -> Recipe:
    """Volumes of concentrate and water that make one standard.

    Parameters
    ----------
    batch_volume : float, > 0. Volume of the whole standard, any unit.
    percent : float, 0 to 100. Concentrate wanted, % by volume of the solution.

    Returns
    -------
    Recipe, in the unit of batch_volume.

    Raises: out_of_range.
    Notes: concentrate = batch percent/100, water the rest; volumes are taken as additive.
    Source: MIL-F-24385F (1992) 1.2, 3 parts to 97 parts. Check:
    fixtures/reference/check-values.json D-03, D-05.
    """
    if not 0 < batch_volume <= LARGEST_VOLUME:
        raise CalcError("out_of_range", "batch_volume", got=batch_volume, want="above 0, to 1e300")
    if not 0 <= percent <= 100:
        raise CalcError("out_of_range", "percent", got=percent, want="0 to 100 percent")
    concentrate = batch_volume * percent / 100
    return Recipe(concentrate=concentrate, water=batch_volume - concentrate)


def as_made_percent(concentrate: float, water: float) -> float:
    """Percent of a standard from the volumes that were really measured out.

    Parameters
    ----------
    concentrate, water : float, >= 0, one unit of volume for both, not both 0.

    Returns
    -------
    Percent by volume of the solution, 0 to 100.

    Raises: out_of_range, nothing_mixed.
    Notes: 100 c/(c + w), ideal mixing. 3 mL added to 100 mL of water is not 3 %.
    Source: definition of percent by volume. Check: fixtures/reference/check-values.json D-03, D-04.
    """
    for where, volume in (("concentrate", concentrate), ("water", water)):
        if not 0 <= volume <= LARGEST_VOLUME:
            raise CalcError("out_of_range", where, got=volume, want="a volume from 0 to 1e300")
    if concentrate + water == 0:
        raise CalcError("nothing_mixed", "concentrate")
    return min(100 * concentrate / (concentrate + water), 100.0)


def suggested_percents(nominal: float | Decimal) -> tuple[float, float, float]:
    """Standards that bracket the acceptance band: nominal, one below and one above.

    Parameters
    ----------
    nominal : float or Decimal, 0 < nominal <= 99. Percent the proportioner is listed for.

    Returns
    -------
    Three percents, lean to rich.

    Raises: out_of_range.
    Notes: one point to either side, but never more than half of nominal, because one point below
    1 % is water.
    Source: NFPA 11 and NFPA 412 annex methods (from memory); the half for small percents is
    common practice, no source. Check: fixtures/reference/check-values.json G-05.
    """
    middle = Decimal(str(nominal))
    if not 0 < middle <= 99:
        raise CalcError("out_of_range", "nominal", got=nominal, want="above 0 and at most 99")
    step = min(Decimal(1), middle / 2)
    return float(middle - step), float(middle), float(middle + step)


def recipe_by_mass(
    batch_volume: float, percent: float, density_concentrate: float, density_water: float
) -> MassRecipe:
    """Masses of concentrate and water that make one standard of a percent by volume.

    Parameters
    ----------
    batch_volume : float, > 0. Volume of the whole standard, any unit.
    percent : float, 0 to 100, % by volume.
    density_concentrate, density_water : float, > 0, mass per that unit of volume, at one
        temperature.

    Returns
    -------
    MassRecipe, in the unit of mass that the densities are in.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: each volume of `recipe` times its density.
    Source: definition of density and of percent by volume. Check: tests/calc/test_standards.py.
    """
    volumes = recipe(batch_volume, percent)
    heavy = float(positive("density_concentrate", density_concentrate))
    light = float(positive("density_water", density_water))
    return MassRecipe(concentrate=volumes.concentrate * heavy, water=volumes.water * light)


def as_made(concentrate: Any, water: Any, u_concentrate: Any, u_water: Any) -> AsMade:
    """Percent of a standard from both volumes, with what the glassware leaves open.

    Parameters
    ----------
    concentrate, water : array_like, >= 0, one unit of volume, not both 0.
    u_concentrate, u_water : array_like, >= 0, same unit, standard uncertainties.

    Returns
    -------
    AsMade, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, nothing_mixed, shapes_differ.
    Notes: p = 100 c/(c + w), u = 100 √(w² u_c² + c² u_w²)/(c + w)²; the two are independent, so
    measure them with two tools.
    Source: JCGM 100:2008, 5.1.2, on percent by volume. Check: tests/calc/test_standards.py.
    """
    one_shape("water", concentrate, water, u_concentrate, u_water)
    want, most = "a volume from 0 to 1e150", LARGEST_VOLUME**0.5
    c = within("concentrate", concentrate, 0, most, want)
    w = within("water", water, 0, most, want)
    total = c + w
    if not np.all(total > 0):
        raise CalcError("nothing_mixed", "concentrate")
    u_c = not_negative("u_concentrate", u_concentrate)
    u_w = not_negative("u_water", u_water)
    return AsMade(
        percent=100 * (c / total),
        u_percent=100 * np.hypot(w / total * u_c, c / total * u_w) / total,
    )


def made_up(concentrate: Any, total: Any, u_concentrate: Any, u_total: Any) -> AsMade:
    """Percent of a standard from the concentrate and the flask that was filled up to its mark.

    Parameters
    ----------
    concentrate : array_like, >= 0, at most total. Volume put in, any unit.
    total : array_like, > 0, same unit. Volume of the whole standard.
    u_concentrate, u_total : array_like, >= 0, same unit, standard uncertainties.

    Returns
    -------
    AsMade, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: p = 100 c/V, u = √((100 u_c)² + (p u_V)²)/V. A larger batch is more exact: 0.05 mL are
    0.05 points in 100 mL and 0.01 in 500 mL.
    Source: JCGM 100:2008, 5.1.2, on percent by volume. Check: tests/calc/test_standards.py.
    """
    one_shape("total", concentrate, total, u_concentrate, u_total)
    c, whole = not_negative("concentrate", concentrate), positive("total", total)
    if np.any(c > whole):
        want = "at most the volume of the whole standard"
        raise CalcError("out_of_range", "concentrate", got=float(np.max(c)), want=want)
    percent = 100 * (c / whole)
    u_c, u_whole = not_negative("u_concentrate", u_concentrate), not_negative("u_total", u_total)
    return AsMade(percent, np.hypot(100 * u_c, percent * u_whole) / whole)


def as_made_by_mass(
    concentrate: Any,
    water: Any,
    density_concentrate: Any,
    density_water: Any,
    u_mass: Any,
    u_density_concentrate: Any = 0.0,
) -> AsMade:
    """Percent by volume of a standard that was weighed.

    Parameters
    ----------
    concentrate, water : array_like, >= 0, one unit of mass, not both 0.
    density_concentrate, density_water : array_like, > 0, that mass per one unit of volume.
    u_mass : array_like, >= 0, unit of mass. Standard uncertainty of each of the two masses.
    u_density_concentrate : array_like, >= 0, unit of density.

    Returns
    -------
    AsMade, broadcast shape.

    Raises: density_missing, shapes_differ, not_a_number, not_finite, out_of_range, nothing_mixed.
    Notes: volumes are mass over density, then as `as_made`. Lift of the air moves both masses
    alike and leaves less than 1e-4 of the percent. 3 g in 97 g of water are not 3 % by volume.
    Source: JCGM 100:2008, 5.1.2, on the definition of density. Check:
    tests/calc/test_standards.py.
    """
    if density_concentrate is None:
        raise CalcError("density_missing", "density_concentrate")
    one_shape("water", concentrate, water, density_concentrate, density_water, u_mass)
    heavy, light = positive("density_concentrate", density_concentrate), density_water
    light = positive("density_water", light)
    mass, rest = not_negative("concentrate", concentrate), not_negative("water", water)
    u, u_heavy = (
        not_negative("u_mass", u_mass),
        not_negative("u_density_concentrate", u_density_concentrate),
    )
    u_c = np.hypot(u / heavy, mass / heavy * u_heavy / heavy)
    return as_made(mass / heavy, rest / light, u_c, u / light)


def weighed_solution(
    mass: Any, purity: Any, volume: Any, u_mass: Any, u_purity: Any, u_volume: Any
) -> tuple[Any, Any]:
    """Mass concentration of a reference solution weighed in and filled up to a mark.

    Parameters
    ----------
    mass, purity, volume : array_like, > 0. kg, share of 1, m³.
    u_mass, u_purity, u_volume : array_like, >= 0, same units, standard uncertainties.

    Returns
    -------
    Concentration and its standard uncertainty, kg/m³, broadcast shape.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: c = m P/V, relative uncertainties in root sum of squares.
    Source: Eurachem QUAM, example A1. Check: fixtures/reference/check-values.json D-06.
    """
    one_shape("volume", mass, purity, volume, u_mass, u_purity, u_volume)
    values = (positive("mass", mass), positive("purity", purity), positive("volume", volume))
    given = (("u_mass", u_mass), ("u_purity", u_purity), ("u_volume", u_volume))
    parts = [
        not_negative(where, u) / value for (where, u), value in zip(given, values, strict=True)
    ]
    concentration = values[0] * values[1] / values[2]
    return concentration, concentration * np.sqrt(parts[0] ** 2 + parts[1] ** 2 + parts[2] ** 2)
