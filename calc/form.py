"""The form of one test: plain data to a checked `Bench`.

Whatever is wrong is refused with the JSON path of the entry and a sentence; nothing is guessed and
no entry gets a default unless the form says so.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calc.acceptance import Band, custom_band
from calc.criteria import common_band, criterion_band, shipped_criteria
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
)
from calc.errors import CalcError, quoted
from calc.inverse import reading_width
from calc.mixtures import MIXTURE_KEYS, Densities, Made, densities_at, made_at

METHODS = ("refractive_index", "brix", "conductivity")
FITS = ORDINARY, WEIGHTED, BOTH_AXES = ("ordinary", "weighted", "both-axes")
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
TEST_OPTIONS = (
    "include_water",
    "fit",
    "verdict_probability",
    "lean_probability",
    "correct_to_c",
    "water_again",
    "test_water",
    "densities",
)
INSTRUMENT_KEYS = ("resolution", "repeatability", "temperature_compensated")
INSTRUMENT_OPTIONS = ("repeatability_history", "interpolated")
HISTORY_KEYS = ("standard_deviation", "degrees_of_freedom")
LIMIT_KEYS = ("lower", "upper")
RULE_KEYS, RULE_OPTIONS = ("name",), ("baseline_percent",)
READING_KEYS = ("value", "temperature_c")
STANDARD_KEYS, STANDARD_OPTIONS = ("readings",), (*MIXTURE_KEYS, "percent_uncertainty")
SAMPLE_KEYS, SAMPLE_OPTIONS = ("name", "readings"), ("flow_point",)


@dataclass(frozen=True, slots=True)
class Reading:
    value: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Bottle:
    """Readings of one bottle; `where` is its place in the form."""

    where: str
    readings: tuple[Reading, ...]  # as read
    values: tuple[float, ...]  # as the arithmetic takes them: corrected where that is asked for
    mean: float  # of the values
    temperature_c: float | None  # mean of the temperatures that were noted, None without any

    @property
    def misses_temperature(self) -> bool:
        return any(reading.temperature_c is None for reading in self.readings)

    def as_form(self) -> list[dict[str, Any]]:
        return [{"value": r.value, "temperature_c": r.temperature_c} for r in self.readings]


@dataclass(frozen=True, slots=True)
class Standard:
    bottle: Bottle
    made: Made

    @property
    def percent(self) -> float:
        return self.made.percent

    @property
    def u_percent(self) -> float:
        """Points of this bottle alone; what all share stands in `Bench.shared_doubt`."""
        return self.made.u_own

    def as_form(self) -> dict[str, Any]:
        return {**self.made.given, "readings": self.bottle.as_form()}


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
    history: tuple[float, float] | None  # pooled standard deviation, its degrees of freedom
    interpolated: bool  # read between the marks of a scale, to steps of the resolution

    @property
    def width(self) -> float:
        """Full width of the rectangle that stands for what reading it leaves open."""
        return reading_width(self.resolution, self.interpolated)

    def as_form(self) -> dict[str, Any]:
        form: dict[str, Any] = {
            "resolution": self.resolution,
            "repeatability": self.repeatability,
            "temperature_compensated": self.temperature_compensated,
        }
        if self.history is not None:
            form["repeatability_history"] = dict(zip(HISTORY_KEYS, self.history, strict=True))
        if self.interpolated:  # came later, as `Bench.as_form` says
            form["interpolated"] = True
        return form


@dataclass(frozen=True, slots=True)
class Bench:
    """One test as evaluated, defaults filled in."""

    method: str
    nominal_percent: float
    criterion: str | dict[str, Any]
    band: Band
    instrument: Instrument
    water: Bottle
    standards: tuple[Standard, ...]
    concentrate: Bottle | None
    samples: tuple[Sample, ...]
    include_water: bool
    fit: str
    verdict_probability: float | None
    lean_probability: float | None
    correct_to_c: float | None
    water_again: Bottle | None  # the water of the standards, read once more at the end
    test_water: Bottle | None  # what went through the system, where the standards have another
    densities: Densities | None  # of the liquids that were weighed

    @property
    def shared_doubt(self) -> float:
        """Share of every percent that the density leaves, alike in all bottles that were weighed;
        the largest of them, though a line through others too is moved by less."""
        return max(standard.made.shared for standard in self.standards)

    @property
    def bottles(self) -> tuple[Bottle, ...]:
        """Water, standards and samples, in this order: what the result rests on."""
        standards = (standard.bottle for standard in self.standards)
        return (self.water, *standards, *(sample.bottle for sample in self.samples))

    @property
    def dilute_bottles(self) -> tuple[Bottle, ...]:
        """All but the undiluted concentrate."""
        waters = (self.water_again, self.test_water)
        return (*self.bottles, *(bottle for bottle in waters if bottle is not None))

    def as_form(self) -> dict[str, Any]:
        """The form after defaults, numbers as doubles: what the digest covers. Keys that came
        after the first engine stand in it only where they are given, so that it keeps its digest.
        """
        later = {
            "lean_probability": self.lean_probability,
            "correct_to_c": self.correct_to_c,
            "water_again": self.water_again and self.water_again.as_form(),
            "test_water": self.test_water and self.test_water.as_form(),
            "densities": self.densities and self.densities.given,
        }
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
            **{key: value for key, value in later.items() if value is not None},
        }


def read(data: Any) -> Bench:
    """A checked `Bench` from plain data; numbers may be int, float or Decimal.

    Raises CalcError with any code of the form; the first thing wrong is named.
    """
    form = keys_at(data, "$", TEST_KEYS, TEST_OPTIONS)
    nominal = percent_at(form["nominal_percent"], "$.nominal_percent")
    criterion, limits = criterion_at(form["criterion"], "$.criterion", nominal)
    densities = densities_at(form.get("densities"), "$.densities")
    return Bench(
        method=choice_at(form["method"], "$.method", METHODS),
        nominal_percent=nominal,
        criterion=criterion,
        band=limits,
        instrument=_instrument(form["instrument"], "$.instrument"),
        water=_bottle(form["water"], "$.water", "$.water"),
        standards=_standards(form["standards"], "$.standards", densities),
        concentrate=_optional_bottle(form["concentrate"], "$.concentrate"),
        samples=_samples(form["samples"], "$.samples"),
        include_water=flag_at(form.get("include_water", True), "$.include_water"),
        fit=choice_at(form.get("fit", ORDINARY), "$.fit", FITS),
        verdict_probability=probability_at(
            form.get("verdict_probability", 0.75), "$.verdict_probability"
        ),
        lean_probability=probability_at(form.get("lean_probability"), "$.lean_probability"),
        correct_to_c=_common_temperature(form.get("correct_to_c"), "$.correct_to_c"),
        water_again=_optional_bottle(form.get("water_again"), "$.water_again"),
        test_water=_optional_bottle(form.get("test_water"), "$.test_water"),
        densities=densities,
    )


def criterion_at(given: Any, where: str, nominal: float) -> tuple[str | dict[str, Any], Band]:
    """What a form says of the limits, as given and as the band that follows from it."""
    if isinstance(given, dict) and "name" in given:
        return _rule(given, where, nominal)
    if not isinstance(given, dict):
        more = ' or {"lower": …, "upper": …} or {"name": …}'
        choice_at(given, where, ("common",), more)
        return given, common_band(nominal)
    entries = keys_at(given, where, LIMIT_KEYS)
    lower, upper = (number_at(entries[key], f"{where}.{key}") for key in LIMIT_KEYS)
    return {"lower": lower, "upper": upper}, custom_band(lower, upper, where)


def _rule(given: Any, where: str, nominal: float) -> tuple[dict[str, Any], Band]:
    """A criterion by its name, with the acceptance test's percent where it hangs on that."""
    entries = keys_at(given, where, RULE_KEYS, RULE_OPTIONS)
    rules = shipped_criteria()
    name = choice_at(entries["name"], f"{where}.name", tuple(rules))
    as_given: dict[str, Any] = {"name": name}
    if "baseline_percent" in entries:
        place = f"{where}.baseline_percent"
        as_given["baseline_percent"] = percent_at(entries["baseline_percent"], place)
    try:
        limits = criterion_band(rules[name], nominal, as_given.get("baseline_percent"))
    except CalcError as error:
        raise CalcError(error.code, where, **error.values) from None
    return as_given, limits


def _instrument(given: Any, where: str) -> Instrument:
    entries = keys_at(given, where, INSTRUMENT_KEYS, INSTRUMENT_OPTIONS)
    repeatability = entries["repeatability"]
    if repeatability is not None:
        repeatability = positive_at(repeatability, f"{where}.repeatability")
    return Instrument(
        resolution=positive_at(entries["resolution"], f"{where}.resolution"),
        repeatability=repeatability,
        temperature_compensated=flag_at(
            entries["temperature_compensated"], f"{where}.temperature_compensated"
        ),
        history=_history(entries.get("repeatability_history"), f"{where}.repeatability_history"),
        interpolated=flag_at(entries.get("interpolated", False), f"{where}.interpolated"),
    )


def _history(given: Any, where: str) -> tuple[float, float] | None:
    if given is None:
        return None
    entries = keys_at(given, where, HISTORY_KEYS)
    dof = number_at(entries["degrees_of_freedom"], f"{where}.degrees_of_freedom")
    if not 1 <= dof <= 1e6:
        refuse_range(f"{where}.degrees_of_freedom", dof, "a number from 1 to 1e6")
    return positive_at(entries["standard_deviation"], f"{where}.standard_deviation"), dof


def _standards(given: Any, where: str, densities: Densities | None) -> tuple[Standard, ...]:
    standards = tuple(
        _standard(entry, f"{where}[{i}]", densities)
        for i, entry in enumerate(list_at(given, where))
    )
    if len(standards) < 2:
        raise CalcError("too_few_standards", where, count=len(standards))
    return standards


def _standard(given: Any, where: str, densities: Densities | None) -> Standard:
    entries = keys_at(given, where, STANDARD_KEYS, STANDARD_OPTIONS)
    bottle = _bottle(entries["readings"], f"{where}.readings", where)
    return Standard(bottle, made_at(entries, where, densities))


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


def _optional_bottle(given: Any, where: str) -> Bottle | None:
    return None if given is None else _bottle(given, where, where)


def _bottle(given: Any, where: str, bottle: str) -> Bottle:
    entries = enumerate(list_at(given, where))
    readings = tuple(_reading(entry, f"{where}[{i}]") for i, entry in entries)
    values = tuple(reading.value for reading in readings)
    noted = [r.temperature_c for r in readings if r.temperature_c is not None]
    temperature_c = mean_of(noted, where) if noted else None
    return Bottle(bottle, readings, values, mean_of(values, where), temperature_c)


def mean_of(values: Sequence[float], where: str) -> float:
    """Mean of numbers by their exact sum, so that their order does not matter.

    Raises: beyond_numbers.
    Source: arithmetic. Check: tests/calc/test_form.py.
    """
    try:
        return math.fsum(values) / len(values)
    except OverflowError:
        raise CalcError("beyond_numbers", where) from None


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


def _common_temperature(given: Any, where: str) -> float | None:
    if given is None:
        return None
    temperature = number_at(given, where)
    if not 0 <= temperature <= 40:
        refuse_range(where, temperature, "a temperature from 0 to 40 °C")
    return temperature


def probability_at(given: Any, where: str) -> float | None:
    """A probability of the decision rule; None where none is asked for."""
    if given is None:
        return None
    probability = number_at(given, where)
    if not 0.5 <= probability < 1:
        refuse_range(where, probability, "0.5 to below 1, or null for simple acceptance")
    return probability
