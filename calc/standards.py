"""Known mixtures: what to pour, and what was poured."""

from dataclasses import dataclass
from decimal import Decimal

from calc.errors import CalcError

LARGEST_VOLUME = 1e300  # any unit, own choice: keeps sums and products within the range of doubles


@dataclass(frozen=True, slots=True)
class Recipe:
    """Volumes for one standard, in the unit of the batch volume."""

    concentrate: float
    water: float


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
