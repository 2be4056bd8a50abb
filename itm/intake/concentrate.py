"""Judges a property of a concentrate as typed, with its unit and temperature.

The ranges are what is believed of any liquid of the trade, own choice: wide enough for all of them,
narrow enough to catch another unit or a lost decimal point.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from itm.core.errors import Refused
from itm.core.quantities import as_typed, number_in
from itm.intake.check import Problem, judge_temperature
from itm.intake.fields import Field
from itm.registry.properties import PROPERTIES, STEP, Property


def _field(name: str, lowest: str, highest: str, example: str, *, itself: bool = True) -> Field:
    of = PROPERTIES[name]
    return Field(of.words, of.unit, Decimal(lowest), Decimal(highest), example, itself)


FIELDS: Mapping[str, Field] = {
    "refractive_index": _field("refractive_index", "1.3", "1.7", "1.3702"),
    "density": _field("density", "700", "1600", "1032"),
    "ph": _field("ph", "0", "14", "7.6"),
    "conductivity_ms_cm": _field("conductivity_ms_cm", "0", "1000", "4.2", itself=False),
    "kinematic_viscosity_mm2_s": _field(
        "kinematic_viscosity_mm2_s", "0.5", "1000000", "18", itself=True
    ),
    "dynamic_viscosity_mpa_s": _field("dynamic_viscosity_mpa_s", "0.5", "1000000", "1900"),
    "sediment_percent": _field("sediment_percent", "0", "100", "0.05"),
    "aged_sediment_percent": _field("aged_sediment_percent", "0", "100", "0.1"),
    "surface_tension_mn_m": _field("surface_tension_mn_m", "5", "75", "16.8"),
    "interfacial_tension_mn_m": _field("interfacial_tension_mn_m", "0", "60", "2.5"),
    "spreading_coefficient_mn_m": _field("spreading_coefficient_mn_m", "-60", "60", "4.7"),
    "expansion": _field("expansion", "1", "2000", "7.4"),
    "drain_time_25_min": _field("drain_time_25_min", "0", "600", "3.5", itself=False),
    "extinguishing_time_s": _field("extinguishing_time_s", "0", "7200", "28", itself=False),
    "burnback_time_s": _field("burnback_time_s", "0", "14400", "420", itself=False),
}


@dataclass(frozen=True)
class JudgedValue:
    """One property: its numbers where they can be taken, else the problems."""

    value: Decimal | None
    typed: str
    temperature_c: Decimal | None
    problems: tuple[Problem, ...]


def judge_value(
    name: str, number: str, unit: str, temperature: str, *, place: str, temperature_place: str = "",
) -> JudgedValue:  # fmt: skip
    """Codes: not_a_number, ambiguous_comma, unknown_unit, out_of_range, other_unit, fahrenheit,
    too_fine. An empty temperature is no problem here."""
    problems: list[Problem] = []
    value = celsius = None
    for take in ("value", "temperature"):
        try:
            if take == "value":
                value = _value(PROPERTIES[name], number, unit, place)
            else:
                celsius = judge_temperature(temperature, temperature_place or place)
        except Refused as refusal:
            problems.append(Problem(refusal.place, refusal.code, refusal.sentence))
    return JudgedValue(value, as_typed(number, unit), celsius, tuple(problems))


def _value(of: Property, number: str, unit: str, place: str) -> Decimal:
    typed = number_in(number, unit, of.units, place=place)
    value = (typed * of.units[unit]).quantize(STEP)
    field = FIELDS[of.name]
    if field.holds(value):
        return value
    shown = as_typed(number, unit)
    for other, factor in of.units.items():
        if other != unit and field.holds(typed * factor):
            raise Refused(
                "other_unit",
                f"{shown} is no {of.words} of a concentrate; as {number.strip()} {other} it would "
                "be one: choose the unit that the paper gives.",
                place,
            )
    raise Refused(
        "out_of_range",
        f"{shown} is no {of.words} of a concentrate: it is {field.range}.",
        place,
    )
