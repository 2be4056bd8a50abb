"""In which units a person reads: SI or US customary. Storage is SI, and what was typed stays.

The choice belongs to the one who reads and not to the thing that is read, like the language of a
page, so it is set once at the edge (`reading_in`) and asked where a quantity is written or an
entry is drawn (`conversions`, `quantities`).

Factors: calc.units (NIST SP 811, Appendix B.8). Degrees Fahrenheit: t/°C = (t/°F - 32)/1.8, exact
by definition (NIST SP 811, B.8, from memory), and the foot is 12 inches.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar

from django.db import models

from calc.units import FLOW, INCH, MASS, PRESSURE, VOLUME

LENGTH = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": INCH, "ft": 12 * INCH}  # → m
TEMPERATURE = {"°C": 1.0, "°F": 5 / 9}  # → °C, after the offset is taken off
OFFSETS = {"°F": 32.0}


class Measures(models.TextChoices):
    SI = "si", "SI: L, L/min, bar, °C, mm"
    US = "us", "US customary: US gal, US gpm, psi, °F, in"


# What each reader reads, the usual one first; a length up to a foot or a metre has the small unit.
FAMILIES: dict[str, tuple[tuple[str, ...], ...]] = {
    Measures.SI: (
        ("L/min", "L/s", "m³/h"), ("L", "m³", "mL"), ("bar", "kPa", "MPa"), ("°C",),
        ("m", "mm", "cm"), ("kg", "g"),
    ),
    Measures.US: (("US gpm",), ("US gal",), ("psi",), ("°F",), ("ft", "in"), ("lb",)),
}  # fmt: skip
KINDS: tuple[Mapping[str, float], ...] = (FLOW, VOLUME, PRESSURE, TEMPERATURE, LENGTH, MASS)

_reader: ContextVar[str] = ContextVar("measures", default=Measures.SI)


@contextmanager
def reading_in(measures: str) -> Iterator[None]:
    """Everything written inside is for a reader with this choice."""
    token = _reader.set(measures)
    try:
        yield
    finally:
        _reader.reset(token)


def reader() -> str:
    return _reader.get()


def own_units() -> frozenset[str]:
    return frozenset(unit for kind in FAMILIES[reader()] for unit in kind)


def own_first(units: Iterable[str]) -> str:
    """The unit that an empty entry of a form begins with; any other can be chosen all the same."""
    listed = list(units)
    return next((unit for unit in listed if unit in own_units()), listed[0] if listed else "")
