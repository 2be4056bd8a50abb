"""How a standard of the form was made: by percent, by volumes or by masses with their densities."""

import math
from dataclasses import dataclass
from typing import Any

from calc.entries import (
    keys_at,
    mass_at,
    number_at,
    percent_at,
    refuse_range,
    volume_at,
)
from calc.errors import CalcError
from calc.standards import as_made_by_mass, as_made_percent
from calc.water import COLDEST, IN_RANGE, WARMEST, water_density

VOLUMES, MASSES = ("concentrate_ml", "water_ml"), ("concentrate_g", "water_g")
MIXTURE_KEYS = ("percent", *VOLUMES, *MASSES)
# Own choice: beyond any liquid on a bench, so that 1.05 of another unit is refused.
DENSITY_RANGE = (100.0, 10_000.0)  # kg/m³
DENSITY_KEYS, DENSITY_OPTIONS = ("concentrate", "temperature_c"), ("standard_uncertainty",)
MADE_TO = 0.01  # of the percent, where no uncertainty is given; common practice, no source
# Share that a density may be off either way where nobody says, as a rectangle (JCGM 100:2008,
# 4.3.7): what a data sheet leaves open; common practice, no source.
DENSITY_HALF_WIDTH = 0.01  # of the density


@dataclass(frozen=True, slots=True)
class Densities:
    """Of the undiluted concentrate and of fresh water, both at one temperature."""

    concentrate: float  # kg/m³
    u_concentrate: float  # kg/m³, standard uncertainty
    temperature_c: float
    given: dict[str, float]

    @property
    def water(self) -> float:
        """kg/m³. Source: calc.water. Check: fixtures/reference/check-values.json D-01."""
        return float(water_density(self.temperature_c))


@dataclass(frozen=True, slots=True)
class Made:
    """Percent by volume as made."""

    percent: float
    u_own: float  # points, of this bottle alone
    shared: float  # share of the percent that the density leaves, the same way in every bottle
    given: dict[str, float]


def densities_at(given: Any, where: str) -> Densities | None:
    """The densities that make volumes of masses, or None where none are given.

    Raises: any code of calc.entries.
    Notes: without standard_uncertainty the concentrate's is 1 % either way, as a rectangle. Salt
    water is denser: 3.5 % of salt, 2.6 %, would make a percent 2.6 % of itself too small.
    Source: definition of density; JCGM 100:2008, 4.3.7. Check: tests/calc/test_mixtures.py.
    """
    if given is None:
        return None
    entries = keys_at(given, where, DENSITY_KEYS, DENSITY_OPTIONS)
    density = number_at(entries["concentrate"], f"{where}.concentrate")
    if not DENSITY_RANGE[0] <= density <= DENSITY_RANGE[1]:
        refuse_range(f"{where}.concentrate", density, "a density from 100 to 10,000 kg/m³")
    at = number_at(entries["temperature_c"], f"{where}.temperature_c")
    if not COLDEST <= at <= WARMEST:
        refuse_range(f"{where}.temperature_c", at, f"a temperature of {IN_RANGE}")
    said = {"concentrate": density, "temperature_c": at}
    if "standard_uncertainty" not in entries:
        return Densities(density, DENSITY_HALF_WIDTH * density / math.sqrt(3), at, said)
    u = number_at(entries["standard_uncertainty"], f"{where}.standard_uncertainty")
    if not 0 <= u < density:
        refuse_range(f"{where}.standard_uncertainty", u, "0 or more, below the density itself")
    return Densities(density, u, at, {**said, "standard_uncertainty": u})


def made_at(entries: dict[str, Any], where: str, densities: Densities | None) -> Made:
    """Percent as made, what it is uncertain by, and what was given for it.

    Raises: any code of calc.entries, percent_or_volumes, nothing_mixed, density_missing.
    Notes: by mass as `as_made_by_mass`. How well it was mixed is each bottle's own; the density is
    the same for all of them, moves every percent alike and averages out over no number of bottles.
    Source: calc.standards; JCGM 100:2008, 5.2.4 on inputs in common. Check:
    tests/calc/test_mixtures.py.
    """
    percent, shared, given = _percent(entries, where, densities)
    if "percent_uncertainty" not in entries:
        return Made(percent, MADE_TO * percent, shared, given)
    u_own = percent_at(entries["percent_uncertainty"], f"{where}.percent_uncertainty")
    return Made(percent, u_own, shared, {**given, "percent_uncertainty": u_own})


def _percent(
    entries: dict[str, Any], where: str, densities: Densities | None
) -> tuple[float, float, dict[str, float]]:
    made = {key for key in MIXTURE_KEYS if key in entries}
    if made == {"percent"}:
        percent = percent_at(entries["percent"], f"{where}.percent")
        return percent, 0.0, {"percent": percent}
    if made not in (set(VOLUMES), set(MASSES)):
        raise CalcError("percent_or_volumes", where)
    names, amount_at = (VOLUMES, volume_at) if made == set(VOLUMES) else (MASSES, mass_at)
    amounts = {name: amount_at(entries[name], f"{where}.{name}") for name in names}
    concentrate, water = amounts.values()
    if concentrate + water == 0:
        raise CalcError("nothing_mixed", where)
    if names == VOLUMES:
        return as_made_percent(concentrate, water), 0.0, amounts
    if densities is None:
        raise CalcError("density_missing", where)
    by_mass = as_made_by_mass(
        concentrate, water, densities.concentrate, densities.water, 0.0, densities.u_concentrate
    )
    percent = float(by_mass.percent)
    return percent, float(by_mass.u_percent) / percent if percent else 0.0, amounts
