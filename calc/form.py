"""The form of one test: plain data to a checked `Bench`.

Whatever is wrong is refused with the JSON path of the entry and a sentence; nothing is guessed and
no entry gets a default unless the form says so.
"""

import math
from dataclasses import dataclass
from typing import Any

from calc.acceptance import Band, band, custom_band
from calc.entries import (
    choice_at,
    flag_at,
    keys_at,
    list_at,
    number_at,
    percent_at,
    positive_at,
    refuse_range,
    text_at,
    volume_at,
)
from calc.errors import CalcError, quoted
from calc.standards import as_made_percent
from calc.sums import ordered_mean

METHODS = ("refractive_index", "brix", "conductivity")
COLDEST, HOTTEST = -273.15, 1000.0  # °C; absolute zero, and far above any bench

TEST_KEYS = (
    "method",
    "nominal_percent",
    "criterion",
    "instrument",
    "water",
    "standards",
    "concentrate",
    "samples",
)
TEST_OPTIONS = ("include_water", "fit", "verdict_probability")
INSTRUMENT_KEYS = ("resolution", "repeatability", "temperature_compensated")
LIMIT_KEYS = ("lower", "upper")
READING_KEYS = ("value", "temperature_c")
STANDARD_KEYS, MIXTURE_KEYS = ("readings",), ("percent", "concentrate_ml", "water_ml")
SAMPLE_KEYS, SAMPLE_OPTIONS = ("name", "readings"), ("flow_point",)


@dataclass(frozen=True, slots=True)
class Reading:
    value: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Bottle:
    """Readings of one bottle; `where` is its place in the form."""

    where: str
    readings: tuple[Reading, ...]
    mean: float
    temperature_c: float | None  # mean of the temperatures that were noted, None without any

    @property
    def misses_temperature(self) -> bool:
        return any(reading.temperature_c is None for reading in self.readings)

    def as_form(self) -> list[dict[str, Any]]:
        return [{"value": r.value, "temperature_c": r.temperature_c} for r in self.readings]


@dataclass(frozen=True, slots=True)
class Standard:
    bottle: Bottle
    percent: float
    made: dict[str, float]  # percent or both volumes, as given

    def as_form(self) -> dict[str, Any]:
        return {**self.made, "readings": self.bottle.as_form()}


@dataclass(frozen=True, slots=True)
class Sample:
    bottle: Bottle
    name: str
    flow_point: str

    def as_form(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "flow_point": self.flow_point,
            "readings": self.bottle.as_form(),
        }


@dataclass(frozen=True, slots=True)
class Instrument:
    resolution: float
    repeatability: float | None
    temperature_compensated: bool

    def as_form(self) -> dict[str, Any]:
        return {
            "resolution": self.resolution,
            "repeatability": self.repeatability,
            "temperature_compensated": self.temperature_compensated,
        }


@dataclass(frozen=True, slots=True)
class Bench:
    """One test as evaluated, defaults filled in."""

    method: str
    nominal_percent: float
    criterion: str | dict[str, float]
    band: Band
    instrument: Instrument
    water: Bottle
    standards: tuple[Standard, ...]
    concentrate: Bottle | None
    samples: tuple[Sample, ...]
    include_water: bool
    fit: str
    verdict_probability: float | None

    def as_form(self) -> dict[str, Any]:
        """The form after defaults, numbers as doubles: what the digest covers."""
        return {
            "method": self.method,
            "nominal_percent": self.nominal_percent,
            "criterion": self.criterion,
            "instrument": self.instrument.as_form(),
            "water": self.water.as_form(),
            "standards": [standard.as_form() for standard in self.standards],
            "concentrate": self.concentrate.as_form() if self.concentrate else None,
            "samples": [sample.as_form() for sample in self.samples],
            "include_water": self.include_water,
            "fit": self.fit,
            "verdict_probability": self.verdict_probability,
        }


def read(data: Any) -> Bench:
    """A checked `Bench` from plain data; numbers may be int, float or Decimal.

    Raises CalcError with any code of the form; the first thing wrong is named.
    """
    form = keys_at(data, "$", TEST_KEYS, TEST_OPTIONS)
    nominal = percent_at(form["nominal_percent"], "$.nominal_percent")
    criterion, limits = _criterion(form["criterion"], "$.criterion", nominal)
    return Bench(
        method=choice_at(form["method"], "$.method", METHODS),
        nominal_percent=nominal,
        criterion=criterion,
        band=limits,
        instrument=_instrument(form["instrument"], "$.instrument"),
        water=_bottle(form["water"], "$.water", "$.water"),
        standards=_standards(form["standards"], "$.standards"),
        concentrate=_concentrate(form["concentrate"], "$.concentrate"),
        samples=_samples(form["samples"], "$.samples"),
        include_water=flag_at(form.get("include_water", True), "$.include_water"),
        fit=_fit(form.get("fit", "ordinary"), "$.fit"),
        verdict_probability=_probability(
            form.get("verdict_probability", 0.75), "$.verdict_probability"
        ),
    )


def _criterion(given: Any, where: str, nominal: float) -> tuple[str | dict[str, float], Band]:
    if not isinstance(given, dict):
        return choice_at(given, where, ("common",), ' or {"lower": …, "upper": …}'), band(nominal)
    entries = keys_at(given, where, LIMIT_KEYS)
    lower, upper = (number_at(entries[key], f"{where}.{key}") for key in LIMIT_KEYS)
    return {"lower": lower, "upper": upper}, custom_band(lower, upper, where)


def _instrument(given: Any, where: str) -> Instrument:
    entries = keys_at(given, where, INSTRUMENT_KEYS)
    repeatability = entries["repeatability"]
    if repeatability is not None:
        repeatability = positive_at(repeatability, f"{where}.repeatability")
    return Instrument(
        resolution=positive_at(entries["resolution"], f"{where}.resolution"),
        repeatability=repeatability,
        temperature_compensated=flag_at(
            entries["temperature_compensated"], f"{where}.temperature_compensated"
        ),
    )


def _standards(given: Any, where: str) -> tuple[Standard, ...]:
    standards = tuple(
        _standard(entry, f"{where}[{i}]") for i, entry in enumerate(list_at(given, where))
    )
    if len(standards) < 2:
        raise CalcError("too_few_standards", where, count=len(standards))
    return standards


def _standard(given: Any, where: str) -> Standard:
    entries = keys_at(given, where, STANDARD_KEYS, MIXTURE_KEYS)
    made = {key for key in MIXTURE_KEYS if key in entries}
    bottle = _bottle(entries["readings"], f"{where}.readings", where)
    if made == {"percent"}:
        percent = percent_at(entries["percent"], f"{where}.percent")
        return Standard(bottle, percent, {"percent": percent})
    if made != {"concentrate_ml", "water_ml"}:
        raise CalcError("percent_or_volumes", where)
    concentrate = volume_at(entries["concentrate_ml"], f"{where}.concentrate_ml")
    water = volume_at(entries["water_ml"], f"{where}.water_ml")
    if concentrate + water == 0:
        raise CalcError("nothing_mixed", where)
    volumes = {"concentrate_ml": concentrate, "water_ml": water}
    return Standard(bottle, as_made_percent(concentrate, water), volumes)


def _samples(given: Any, where: str) -> tuple[Sample, ...]:
    taken: dict[str, str] = {}
    samples = []
    for i, entry in enumerate(list_at(given, where)):
        place = f"{where}[{i}]"
        entries = keys_at(entry, place, SAMPLE_KEYS, SAMPLE_OPTIONS)
        name = text_at(entries["name"], f"{place}.name")
        if name in taken:
            raise CalcError("repeated_name", f"{place}.name", name=quoted(name), other=taken[name])
        taken[name] = place
        flow_point = text_at(entries.get("flow_point", name), f"{place}.flow_point")
        bottle = _bottle(entries["readings"], f"{place}.readings", place)
        samples.append(Sample(bottle, name, flow_point))
    return tuple(samples)


def _concentrate(given: Any, where: str) -> Bottle | None:
    return None if given is None else _bottle(given, where, where)


def _bottle(given: Any, where: str, bottle: str) -> Bottle:
    entries = enumerate(list_at(given, where))
    readings = tuple(_reading(entry, f"{where}[{i}]") for i, entry in entries)
    mean = float(ordered_mean([reading.value for reading in readings]))
    if not math.isfinite(mean):
        raise CalcError("beyond_numbers", where)
    noted = [r.temperature_c for r in readings if r.temperature_c is not None]
    temperature_c = float(ordered_mean(noted)) if noted else None
    return Bottle(bottle, readings, mean, temperature_c)


def _reading(given: Any, where: str) -> Reading:
    entries = keys_at(given, where, READING_KEYS)
    value = number_at(entries["value"], f"{where}.value")
    temperature = entries["temperature_c"]
    if temperature is not None:
        place = f"{where}.temperature_c"
        temperature = number_at(temperature, place)
        if not COLDEST <= temperature <= HOTTEST:
            refuse_range(place, temperature, f"a temperature from {COLDEST} to {HOTTEST:g} °C")
    return Reading(value, temperature)


def _fit(given: Any, where: str) -> str:
    if given != "ordinary":
        raise CalcError("fit_not_offered", where)
    return "ordinary"


def _probability(given: Any, where: str) -> float | None:
    if given is None:
        return None
    probability = number_at(given, where)
    if not 0.5 <= probability < 1:
        refuse_range(where, probability, "0.5 to below 1, or null for simple acceptance")
    return probability
