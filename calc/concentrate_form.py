"""The form of one concentrate check, and what it found as plain data.

Properties stand under the name that carries their unit; density is in kg/m³, index has no unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from calc.concentrate import (
    LOT,
    TANK,
    Baseline,
    Strength,
    layers,
    mixture_baseline,
    percent_of_lot,
    share_left,
    strength,
)
from calc.entries import (
    choice_at,
    flag_at,
    keys_at,
    list_at,
    number_at,
    percent_at,
    refuse_range,
    text_at,
)
from calc.errors import CalcError, quoted
from calc.properties import PROPERTIES, Limit, against, read_limit, shipped_programmes
from calc.water import water_density, water_index

MIXING = ("refractive_index", "density")  # what mixes by volume
RANGES = MappingProxyType(  # own choice: far wider than any liquid of the trade
    {
        "refractive_index": (1.3, 1.7, "an index from 1.3 to 1.7"),
        "density": (500.0, 2000.0, "a density from 500 to 2000 kg/m³"),
        "ph": (-2.0, 16.0, "a pH from -2 to 16"),
    }
)
ANY = (-1e9, 1e9, "a number from -1e9 to 1e9")  # own choice
COLDEST, HOTTEST = 0.0, 40.0  # °C, own choice: the bench
MOST_SAMPLES, MOST_FILLS = 20, 200  # own choice
LIMIT_KEYS = ("property", "of")
OPTIONAL = ("lot", "fills", "uncertainty", "programmes", "limits", "solution", "circulated")


@dataclass(frozen=True, slots=True)
class Sample:
    name: str
    where: str
    properties: Mapping[str, float]


def concentrate_answer(given: Any) -> dict[str, Any]:
    """What a concentrate check says, from its form.

    Parameters
    ----------
    given : dict with temperature_c (of all readings) and samples, a list of {name, and properties};
        and optional lot {properties, ranges}; fills, a list of {volume_l, refractive_index,
        density}, in place of the lot's index and density; uncertainty {refractive_index, density},
        standard; programmes, a list of codes; limits, a list by value of {property, of, lowest,
        highest, source, confidence}; circulated, true when the tank was circulated before
        sampling; and solution {percent, standard_uncertainty, standards_from}.

    Returns
    -------
    dict: properties, strength, layers, baseline, solution. Shares are in percent of the lot.

    Raises: CalcError with the JSON path of the entry.
    Notes: water is taken from the published equations at the temperature.
    Source: calc.concentrate and calc.properties. Check: tests/calc/test_concentrate_form.py.
    """
    entries = keys_at(given, "$", ("temperature_c", "samples"), OPTIONAL)
    temperature = number_at(entries["temperature_c"], "$.temperature_c")
    if not COLDEST <= temperature <= HOTTEST:
        refuse_range("$.temperature_c", temperature, "0 to 40 °C")
    samples = _samples(entries["samples"])
    lot, ranges = _lot(entries.get("lot", {}))
    u = _properties(entries.get("uncertainty", {}), "$.uncertainty", MIXING, least=1e-9)
    baseline = _baseline(entries, lot, u)
    limits = [("lot", limit) for limit in ranges.values()]
    limits += [*_programmes(entries), *_by_value(entries)]
    source = "fills" if "fills" in entries else "lot"
    found = [(s, _strength(s, baseline, u, temperature, source)) for s in samples]
    strengths = [(s, left) for s, left in found if left]
    return {
        "properties": [row for sample in samples for row in _judged(sample, limits)],
        "strength": [_plain(s, _known(s, baseline, u), left) for s, left in strengths],
        "layers": _layers(samples, u, _circulated(entries)),
        "baseline": {
            name: {"value": start.value, "standard_uncertainty": start.u_value}
            for name, start in baseline.items()
        },
        "solution": _solution(entries, [left for _, left in strengths]),
    }


def _samples(given: Any) -> list[Sample]:
    rows = list_at(given, "$.samples")
    if len(rows) > MOST_SAMPLES:
        raise CalcError("too_many_points", "$.samples", count=len(rows), most=MOST_SAMPLES)
    samples: list[Sample] = []
    for i, row in enumerate(rows):
        where = f"$.samples[{i}]"
        entries = keys_at(row, where, ("name",), PROPERTIES)
        name = text_at(entries["name"], f"{where}.name")
        for other in samples:
            if other.name == name:
                taken = {"name": quoted(name), "other": other.where}
                raise CalcError("repeated_name", f"{where}.name", **taken)
        rest = {key: value for key, value in entries.items() if key != "name"}
        if not rest:
            raise CalcError("nothing_measured", where, keys=", ".join(PROPERTIES))
        samples.append(Sample(name, where, _properties(rest, where, PROPERTIES)))
    return samples


def _properties(
    given: Any, where: str, known: tuple[str, ...], least: float | None = None
) -> dict[str, float]:
    """Numbers by property, each in its range; where `least` is given, uncertainties from it up."""
    entries = keys_at(given, where, (), known)
    return {
        name: _in_range(
            number_at(value, f"{where}.{name}"),
            f"{where}.{name}",
            RANGES.get(name, ANY) if least is None else (least, 100.0, "a number from 1e-9 to 100"),
        )
        for name, value in entries.items()
    }


def _in_range(number: float, where: str, allowed: tuple[float, float, str]) -> float:
    if not allowed[0] <= number <= allowed[1]:
        refuse_range(where, number, allowed[2])
    return number


def _lot(given: Any) -> tuple[dict[str, float], dict[str, Limit]]:
    entries = keys_at(given, "$.lot", (), (*PROPERTIES, "ranges"))
    ranges = keys_at(entries.get("ranges", {}), "$.lot.ranges", (), PROPERTIES)
    values = {key: value for key, value in entries.items() if key != "ranges"}
    return _properties(values, "$.lot", PROPERTIES), {
        name: read_limit(ends, f"$.lot.ranges.{name}", name, "certificate of the lot", "as given")
        for name, ends in ranges.items()
    }


def _baseline(
    entries: dict[str, Any], lot: dict[str, float], u: dict[str, float]
) -> dict[str, Baseline]:
    """Index and density that the tank ought to have: the lot's, or those of its fills."""
    if "fills" not in entries:
        return {name: Baseline(lot[name], u.get(name, 0.0)) for name in MIXING if name in lot}
    if any(name in lot for name in MIXING):
        raise CalcError("lot_or_fills", "$.fills")
    rows = list_at(entries["fills"], "$.fills")
    if len(rows) > MOST_FILLS:
        raise CalcError("too_many_points", "$.fills", count=len(rows), most=MOST_FILLS)
    volumes, fills = [], []
    for i, row in enumerate(rows):
        where = f"$.fills[{i}]"
        cells = keys_at(row, where, ("volume_l",), MIXING)
        volume = number_at(cells["volume_l"], f"{where}.volume_l")
        volumes.append(_in_range(volume, f"{where}.volume_l", (1e-3, 1e9, "0.001 to 1e9 L")))
        rest = {key: value for key, value in cells.items() if key != "volume_l"}
        fills.append(_properties(rest, where, MIXING))
    return {
        name: mixture_baseline(volumes, [fill[name] for fill in fills], 0.0, u.get(name, 0.0))
        for name in MIXING
        if all(name in fill for fill in fills)
    }


def _programmes(entries: dict[str, Any]) -> list[tuple[str, Limit]]:
    if "programmes" not in entries:
        return []
    known = shipped_programmes()
    codes = [
        choice_at(code, f"$.programmes[{i}]", tuple(known))
        for i, code in enumerate(list_at(entries["programmes"], "$.programmes"))
    ]
    return [(code, limit) for code in codes for limit in known[code].limits.values()]


def _by_value(entries: dict[str, Any]) -> list[tuple[str, Limit]]:
    """Limits that somebody froze: a later edition of a programme moves none of them."""
    out = []
    for i, row in enumerate(list_at(entries["limits"], "$.limits") if "limits" in entries else ()):
        where = f"$.limits[{i}]"
        cells = keys_at(row, where, (*LIMIT_KEYS, "source", "confidence"), ("lowest", "highest"))
        of, source, sure = (
            text_at(cells[key], f"{where}.{key}") for key in ("of", "source", "confidence")
        )
        name = choice_at(cells["property"], f"{where}.property", PROPERTIES)
        ends = {key: cells[key] for key in ("lowest", "highest") if key in cells}
        out.append((of, read_limit(ends, where, name, source, sure)))
    return out


def _judged(sample: Sample, limits: list[tuple[str, Limit]]) -> list[dict[str, Any]]:
    return [
        {
            "sample": sample.name,
            "property": limit.name,
            "value": sample.properties[limit.name],
            "limits_of": code,
            "lowest": None if limit.lowest is None else float(limit.lowest),
            "highest": None if limit.highest is None else float(limit.highest),
            "statement": against(sample.properties[limit.name], limit),
            "source": limit.source,
            "confidence": limit.confidence,
        }
        for code, limit in limits
        if limit.name in sample.properties
    ]


def _strength(
    sample: Sample,
    baseline: dict[str, Baseline],
    u: dict[str, float],
    temperature: float,
    source: str,
) -> Strength | None:
    """None where neither index nor density is known of tank and lot, with its uncertainty."""
    water = {
        "refractive_index": float(water_index(temperature)),
        "density": float(water_density(temperature)),
    }
    shares = []
    for name in _known(sample, baseline, u):
        tank, start = sample.properties[name], baseline[name]
        try:
            shares.append(share_left(tank, start.value, water[name], u[name], start.u_value, 0.0))
        except CalcError as error:  # only the lot can be at fault: the entries were in range
            raise CalcError(error.code, f"$.{source}", **error.values) from None
    return strength(shares) if shares else None


def _known(sample: Sample, baseline: dict[str, Baseline], u: dict[str, float]) -> list[str]:
    return [name for name in baseline if name in sample.properties and name in u]


def _plain(sample: Sample, names: list[str], found: Strength) -> dict[str, Any]:
    return {
        "sample": sample.name,
        "share_left_percent": 100 * found.share_left,
        "standard_uncertainty": 100 * found.u_share_left,
        "interval": [100 * found.low, 100 * found.high],
        "by": [
            {
                "property": name,
                "share_left_percent": 100 * part.share,
                "standard_uncertainty": 100 * part.u_share,
            }
            for name, part in zip(names, found.parts, strict=True)
        ],
        "statement": found.statement,
    }


def _circulated(entries: dict[str, Any]) -> bool:
    return "circulated" in entries and flag_at(entries["circulated"], "$.circulated")


def _layers(samples: list[Sample], u: dict[str, float], circulated: bool) -> list[dict[str, Any]]:
    """Nothing where the tank was circulated first: then the samples cannot show layers."""
    found = []
    for name in MIXING:
        values = [s.properties[name] for s in samples if name in s.properties]
        if circulated or name not in u or len(values) < 2:
            continue
        apart = layers(values, u[name])
        found.append(
            {
                "property": name,
                "largest_difference": apart.largest,
                "allowed": apart.allowed,
                "statement": apart.statement,
            }
        )
    return found


def _solution(entries: dict[str, Any], strengths: list[Strength]) -> dict[str, Any] | None:
    """Percent of the solution, and of the lot's own concentrate by the weakest sample."""
    if "solution" not in entries:
        return None
    required = ("percent", "standard_uncertainty", "standards_from")
    given = keys_at(entries["solution"], "$.solution", required)
    percent = percent_at(given["percent"], "$.solution.percent")
    u_percent = percent_at(given["standard_uncertainty"], "$.solution.standard_uncertainty")
    origin = choice_at(given["standards_from"], "$.solution.standards_from", (TANK, LOT))
    weakest = min(strengths, key=lambda found: found.share_left, default=None)
    of_lot = percent_of_lot(percent, u_percent, weakest, origin) if weakest else None
    return {"percent": percent, "percent_of_lot": of_lot.as_dict() if of_lot else None}
