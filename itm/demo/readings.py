"""What a display would show: a straight line of the liquid, a little noise, the display's steps.

The figures of the liquids are invented; how they follow from each other is not: an index falls by
about 1e-4 a degree, mixtures lie on a straight line of index, and a Brix scale is an index scale in
other marks, which bends.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from random import Random
from typing import Any

from calc.readings import brix_to_index, index_to_brix
from itm.registry.models import ConcentrateLot, Instrument

INDEX_PER_C = -1.0e-4  # rounded from the published equation of water, check-values B-08
NOISE = {"refractive_index": 1.2e-5, "brix": 0.012, "conductivity": 1.2}
# A straight line of conductivity would read far too high in the undiluted concentrate.
UNDILUTED_SHARE = 0.3


@dataclass(frozen=True)
class Liquid:
    """Reading of water in the unit of the display, and rise for each percent of concentrate: of a
    Brix scale in index."""

    method: str
    water: float
    per_percent: float
    per_c: float

    def shown(
        self, percent: float, temperature: Decimal, instrument: Instrument, rng: Random
    ) -> str:
        warmer = 0.0 if instrument.temperature_compensated else float(temperature) - 20
        value = self._mixed(percent) + self.per_c * warmer + rng.gauss(0, NOISE[self.method])
        step = instrument.resolution.normalize()
        steps = (Decimal(repr(value)) / step).quantize(Decimal(1), ROUND_HALF_EVEN)
        return f"{steps * step:f}"

    def _mixed(self, percent: float) -> float:
        rise = self.per_percent * percent
        if self.method == "brix":
            return float(index_to_brix(brix_to_index(self.water) + rise))
        undiluted = self.method == "conductivity" and percent > 50
        return self.water + rise * (UNDILUTED_SHARE if undiluted else 1)


def liquid(
    method: str, water: dict[str, Any], lot: ConcentrateLot, conductivity_per_percent: float
) -> Liquid:
    if method == "conductivity":
        return Liquid(method, water["conductivity"], conductivity_per_percent, 0.0)
    per_percent = (float(lot.refractive_index or 0) - water["refractive_index"]) / 100
    if method == "brix":
        return Liquid(method, water["brix"], per_percent, 0.0)
    return Liquid(method, water["refractive_index"], per_percent, INDEX_PER_C)
