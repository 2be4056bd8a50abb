"""Properties of a concentrate against limits: the maker's range of the lot, and the programmes.

The rows in fixtures/concentrate are starters with source and confidence; the certificate of the lot
and the adopted edition decide.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from calc.acceptance import decimal_as_written
from calc.criteria import CONFIDENCES, decimal_at
from calc.entries import choice_at, keys_at, list_at, load, text_at
from calc.errors import CalcError

FOLDER = Path(__file__).parents[1] / "fixtures" / "concentrate"
WITHIN, BELOW, ABOVE = "within", "below", "above"
PROPERTIES = (  # with the unit of its certificate in the name; no unit: a ratio
    "refractive_index",
    "density",  # kg/m³
    "ph",
    "conductivity_ms_cm",  # of the undiluted liquid
    "kinematic_viscosity_mm2_s",
    "dynamic_viscosity_mpa_s",
    "sediment_percent",
    "aged_sediment_percent",
    "surface_tension_mn_m",
    "interfacial_tension_mn_m",
    "spreading_coefficient_mn_m",
    "expansion",
    "drain_time_25_min",
    "extinguishing_time_s",
    "burnback_time_s",
)


@dataclass(frozen=True, slots=True)
class Limit:
    """What one property may be; both ends allowed, None where open."""

    name: str
    lowest: Decimal | None
    highest: Decimal | None
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Programme:
    """The limits of one rule, by property."""

    code: str
    title: str
    edition: str
    limits: Mapping[str, Limit]


def against(value: Decimal | float | str, limit: Limit) -> str:
    """On which side of a limit a property lies, by the plain value.

    Parameters
    ----------
    value : Decimal, float or str as read, unit of the property.
    limit : Limit.

    Returns
    -------
    "within", "below" or "above"; a value on a limit is within.

    Raises: not_a_number, not_finite.
    Notes: exact decimal comparison, no rounding.
    Source: the limit's own. Check: fixtures/reference/check-values.json J-09.
    """
    written = decimal_as_written(value, limit.name)
    if limit.lowest is not None and written < limit.lowest:
        return BELOW
    return ABOVE if limit.highest is not None and written > limit.highest else WITHIN


def read_limit(given: Any, where: str, name: str, source: str, confidence: str) -> Limit:
    """A range {lowest, highest} from plain data, at least one of them.

    Raises: any code of calc.entries, not_a_number, not_finite, empty_range.
    Source: the data's own. Check: tests/calc/test_properties.py.
    """
    entries = keys_at(given, where, (), ("lowest", "highest"))
    ends = {key: decimal_at(value, f"{where}.{key}") for key, value in entries.items()}
    lowest, highest = ends.get("lowest"), ends.get("highest")
    if not ends or (lowest is not None and highest is not None and lowest > highest):
        raise CalcError("empty_range", where)
    return Limit(name, lowest, highest, source, confidence)


def read_programme(given: Any, where: str = "$") -> Programme:
    """The limits of a rule from plain data, checked entry by entry.

    Parameters
    ----------
    given : dict with code, title, edition and limits, a list of {property, lowest, highest, source,
        confidence}.
    where : JSON path of the object.

    Returns
    -------
    Programme.

    Raises: any code of calc.entries, not_a_number, not_finite, empty_range.
    Source: the data's own. Check: fixtures/reference/check-values.json J-01, J-02, J-03, J-04,
    J-05, J-07.
    """
    entries = keys_at(given, where, ("code", "title", "edition", "limits"))
    said = {key: text_at(entries[key], f"{where}.{key}") for key in ("code", "title", "edition")}
    limits = {}
    for i, row in enumerate(list_at(entries["limits"], f"{where}.limits")):
        place = f"{where}.limits[{i}]"
        cells = keys_at(row, place, ("property", "source", "confidence"), ("lowest", "highest"))
        name = choice_at(cells["property"], f"{place}.property", PROPERTIES)
        limits[name] = read_limit(
            {key: cells[key] for key in ("lowest", "highest") if key in cells},
            place,
            name,
            text_at(cells["source"], f"{place}.source"),
            choice_at(cells["confidence"], f"{place}.confidence", CONFIDENCES),
        )
    return Programme(**said, limits=MappingProxyType(limits))


@cache
def shipped_programmes() -> Mapping[str, Programme]:
    """The starter rows by code, read once.

    Source: fixtures/concentrate. Check: tests/calc/test_properties.py.
    """
    files = sorted(FOLDER.glob("*.json"))
    rules = [read_programme(load(file.read_bytes()), file.name) for file in files]
    return MappingProxyType({rule.code: rule for rule in rules})
