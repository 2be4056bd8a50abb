"""Standards of a bench by volume or by mass: what was written, and the percent that follows.

A thick concentrate stays in a pipette and is weighed. Grams are a percent by volume only with the
density of the concentrate, which belongs to the bench and is the same for all its standards.
"""

import math
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from calc.errors import CalcError
from calc.mixtures import densities_at, made_at
from calc.standards import MassRecipe, as_made_percent, recipe_by_mass
from calc.water import water_density
from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.figures import day
from itm.core.quantities import Quantity
from itm.records.check_queries import newest_of
from itm.records.models import Bench, Bottle
from itm.records.models.density import DensityFrom
from itm.registry.book import lines_of
from itm.registry.contents import Contents, as_of

VOLUMES, MASSES = ("concentrate_ml", "water_ml"), ("concentrate_g", "water_g")
UNIT = {VOLUMES: "mL", MASSES: "g"}
LIGHTEST, HEAVIEST = 700.0, 1600.0  # kg/m³ of a concentrate, as itm/intake/concentrate.py
PER_G_ML = 1000.0  # kg/m³ in a g/mL, exact
CERTIFIED_C = 20.0  # °C, of the densities on certificates, as ConcentrateLot has them
# °C around it, own choice: what a liquid gains by so much cold, some 0.05 % a degree for one with
# much glycol (from memory), stays well below the 0.2 % that are asked about.
NEAR_C = 2.0
COLDEST, WARMEST = 0.0, 40.0  # °C, of the published density of water


def pair_of(bottle: Bottle, bench: Bench) -> tuple[str, str]:
    """In which two amounts this standard is written: as it was begun, else as the bench says."""
    if any(typed(bottle, VOLUMES)):
        return VOLUMES
    weighed = any(typed(bottle, MASSES)) or bench.weighs
    return MASSES if weighed else VOLUMES


def typed(bottle: Bottle, pair: tuple[str, str]) -> tuple[str, str]:
    """Both amounts as a person wrote them."""
    concentrate, water = (getattr(bottle, f"{name}_typed") for name in pair)
    return concentrate, water


def amounts(bottle: Bottle) -> dict[str, float]:
    """Both amounts under the engine's names; empty while one is not written down."""
    for pair in (VOLUMES, MASSES):
        found = [getattr(bottle, name) for name in pair]
        if None not in found:
            return dict(zip(pair, map(float, found), strict=True))
    return {}


def is_weighed(bottle: Bottle) -> bool:
    return any(typed(bottle, MASSES))


def densities(bench: Bench) -> dict[str, float] | None:
    """The engine's entry; None while the density or its temperature is not known."""
    if bench.density is None or bench.density_at is None:
        return None
    found = {"concentrate": bench.density, "temperature_c": bench.density_at}
    if bench.density_error is not None:  # either way, as a rectangle: JCGM 100:2008, 4.3.7
        found["standard_uncertainty"] = bench.density_error / math.sqrt(3)
    return found


def recipe_in_grams(bench: Bench, percent: Decimal) -> MassRecipe | None:
    """Grams for one standard of the bench's batch; None while the density is not known."""
    known = densities(bench)
    if known is None:
        return None
    return recipe_by_mass(
        float(bench.batch_volume_ml),
        float(percent),
        known["concentrate"] / PER_G_ML,
        float(water_density(known["temperature_c"])) / PER_G_ML,
    )


def percent_as_made(bottle: Bottle, bench: Bench) -> float | None:
    """Percent by volume of a bottle whose making is known: water, a standard, the concentrate."""
    if bottle.role == Bottle.Role.WATER:
        return 0.0
    if bottle.role == Bottle.Role.CONCENTRATE:
        return 100.0
    made = amounts(bottle)
    if not any(made.values()):
        return None
    if not is_weighed(bottle):
        return as_made_percent(*made.values())
    try:
        return made_at(made, "$", densities_at(densities(bench), "$")).percent
    except CalcError:  # no density yet
        return None


def mass_percent(bottle: Bottle) -> float | None:
    """Percent by mass of a standard that was weighed: arithmetic, and no percent by volume."""
    made = amounts(bottle)
    if not is_weighed(bottle) or not any(made.values()):
        return None
    return as_made_percent(*made.values())  # a share of a sum, whatever the unit


def density_missing(bench: Bench) -> str:
    """What keeps grams from being a percent by volume, or nothing."""
    if densities(bench) is not None:
        return ""
    lacks = "density of the concentrate" if bench.density is None else "temperature of the density"
    return (
        f"Standards were weighed and the bench has no {lacks}: a percent by mass is none by "
        "volume. Write density and temperature, from the certificate, a data sheet or measured, "
        "with what it may be off by."
    )


def weighed_remarks(bench: Bench, held: Contents) -> list[str]:
    """The density of the bench beside the certificates of what it was drawn from."""
    if not any(is_weighed(bottle) for bottle in bench.bottles.all()):
        return []
    missing = density_missing(bench)
    if missing or bench.density is None:
        return [missing]
    certified = float(bench.lot.density) if bench.lot and bench.lot.density else held.density
    said = []
    if not bench.density_from:
        said.append(
            f"Nobody says where the density {bench.density_typed} of the weighed standards is from."
        )
    elif bench.density_from == DensityFrom.DATA_SHEET:
        said.append(
            f"The density {bench.density_typed} of the weighed standards is that of a data sheet "
            "and not of this lot."
        )
    if certified is None or bench.density_at is None:
        return said
    if abs(bench.density_at - CERTIFIED_C) > NEAR_C:
        return [*said, _not_compared(bench, certified)]
    apart = bench.density - certified
    if abs(apart) <= max(bench.density_error or 0, 0.002 * certified):
        return said
    side = "above" if apart > 0 else "below"
    said.append(
        f"The density {bench.density_typed} is {abs(apart):.1f} kg/m³ {side} what the certificate "
        f"says ({certified:.1f} kg/m³ at 20 °C); every weighed standard, and so every percent, "
        f"hangs on it by {abs(100 * apart / certified):.1f} % of itself. Find out which density is "
        "of this liquid, as warm as it is."
    )
    return said


def _not_compared(bench: Bench, certified: float) -> str:
    return (
        f"The density {bench.density_typed} of the weighed standards is at "
        f"{bench.density_at_typed}, and what the certificate says ({certified:.1f} kg/m³) at "
        f"{CERTIFIED_C:g} °C. More than {NEAR_C:g} °C apart the two are not compared, because the "
        "same liquid is denser in the cold: only one that was found near "
        f"{CERTIFIED_C:g} °C shows whether this is the liquid of the certificate."
    )


def require_density(entered: Mapping[str, Any]) -> None:
    """Raises Refused density, density_error, density_at."""
    density: Quantity | None = entered.get("density")
    if density is not None and not LIGHTEST <= density.si <= HEAVIEST:
        raise Refused(
            "density",
            f"{density.typed} is no density of a concentrate: it is {LIGHTEST:g} to {HEAVIEST:g} "
            "kg/m³.",
            "density",
        )
    error: Quantity | None = entered.get("density_error")
    if error is not None and not 0 < error.si <= HEAVIEST / 10:
        raise Refused(
            "density_error",
            f"{error.typed} is nothing that a density may be off by: write more than 0, at most a "
            "tenth of it.",
            "density_error",
        )
    at: Quantity | None = entered.get("density_at")
    if at is not None and not COLDEST <= at.si <= WARMEST:
        raise Refused(
            "density_at",
            f"{at.typed} is no temperature of a bench: write 0 to 40 °C.",
            "density_at",
        )


def known_densities(actor: Actor, bench: Bench, on: date) -> list[str]:
    """What register and checks know of the density, to be taken or not: a person says which is of
    this liquid. Empty while nothing is weighed."""
    if not weighs(bench):
        return []
    held = as_of(lines_of(bench.tank), on)
    said = []
    if bench.lot and bench.lot.density:
        said.append(f"certificate of {bench.lot}: {bench.lot.density.normalize():f} kg/m³ at 20 °C")
    elif held.density is not None:
        said.append(f"certificates of the tank’s lots: {held.density:.1f} kg/m³ at 20 °C")
    for value in newest_of(actor, bench.tank, "density"):
        sample = value.sample
        at = f" at {value.temperature_typed} °C" if value.temperature_typed else ""
        said.append(
            f"check of {day(sample.concentrate_check.checked_on)}, {sample.get_point_display()}: "
            f"{value.value_typed}{at}"
        )
    return said


def weighs(bench: Bench) -> bool:
    """Whether its standards are weighed, or one was."""
    return bench.weighs or any(is_weighed(bottle) for bottle in bench.bottles.all())
