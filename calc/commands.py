"""What `python -m calc` can do beside `evaluate`: plain data in, plain data out.

Each command checks its form at its JSON path and leaves the arithmetic to the modules. Volumes on
the bench are in mL, densities in g/mL, because that is what stands on the tools.
"""

from collections.abc import Callable
from typing import Any

from calc.canonical import digest
from calc.concentrate_form import concentrate_answer
from calc.direct_form import evaluate_direct
from calc.entries import (
    keys_at,
    list_at,
    number_at,
    percent_at,
    positive_at,
    refuse_range,
    text_at,
    volume_at,
)
from calc.standards import recipe, recipe_by_mass, suggested_percents
from calc.supply import Demand, supply_of
from calc.trend_form import trend_answer
from calc.units import FLOW, VOLUME
from calc.version import __version__

LARGEST_AMOUNT = 1e9  # litres, litres a minute and minutes, own choice: above any site
DUST = 1 - 1e-9  # own choice: 10 minutes in binary are still 10 minutes


def answer(given: Any, found: dict[str, Any]) -> dict[str, Any]:
    """What was found, with the engine that found it and the digest of what it was given."""
    return {**found, "engine_version": __version__, "inputs_digest": digest(given)}


def recipe_command(given: Any) -> dict[str, Any]:
    """What to pour for each standard: by volume, and by mass where the densities are given."""
    entries = keys_at(
        given,
        "$",
        ("batch_volume_ml",),
        ("percents", "nominal_percent", "density_concentrate", "density_water"),
    )
    batch = volume_at(entries["batch_volume_ml"], "$.batch_volume_ml")
    if batch == 0:
        refuse_range("$.batch_volume_ml", batch, "a volume above 0 mL")
    densities = _densities(entries)
    return answer(
        given,
        {"standards": [_standard(batch, percent, densities) for percent in _percents(entries)]},
    )


def _percents(entries: dict[str, Any]) -> list[float]:
    if "percents" not in entries:
        keys_at(entries, "$", ("batch_volume_ml", "nominal_percent"), tuple(entries))
        nominal = percent_at(entries["nominal_percent"], "$.nominal_percent")
        if nominal > 99:
            refuse_range("$.nominal_percent", nominal, "above 0 and at most 99 percent")
        return list(suggested_percents(nominal))
    keys_at(entries, "$", (), tuple(key for key in entries if key != "nominal_percent"))
    listed = list_at(entries["percents"], "$.percents")
    return [percent_at(percent, f"$.percents[{i}]") for i, percent in enumerate(listed)]


def _densities(entries: dict[str, Any]) -> tuple[float, float] | None:
    names = ("density_concentrate", "density_water")
    if not any(name in entries for name in names):
        return None
    keys_at(entries, "$", names, tuple(entries))
    heavy, light = (_density_at(entries[name], f"$.{name}") for name in names)
    return heavy, light


def _density_at(given: Any, where: str) -> float:
    density = positive_at(given, where)
    if not 0.5 <= density <= 2:
        refuse_range(where, density, "a density from 0.5 to 2 g/mL; water has about 0.998")
    return density


def _standard(
    batch: float, percent: float, densities: tuple[float, float] | None
) -> dict[str, Any]:
    volumes = recipe(batch, percent)
    poured = {
        "percent": percent,
        "concentrate_ml": volumes.concentrate,
        "water_ml": volumes.water,
    }
    if densities is None:
        return poured
    masses = recipe_by_mass(batch, percent, *densities)
    return {**poured, "concentrate_g": masses.concentrate, "water_g": masses.water}


def supply_command(given: Any) -> dict[str, Any]:
    """How long the tank lasts under everything that draws on it at the same time."""
    entries = keys_at(given, "$", ("usable_volume_l", "demands"), ("required_minutes",))
    contents = _amount_at(entries["usable_volume_l"], "$.usable_volume_l")
    demands = [
        _demand(row, f"$.demands[{i}]")
        for i, row in enumerate(list_at(entries["demands"], "$.demands"))
    ]
    lasts = supply_of(contents * VOLUME["L"], demands)
    drawn = [demand.concentrate_flow / FLOW["L/min"] for demand in demands]
    found = {
        "minutes": lasts.minutes,
        "left_l": lasts.left / VOLUME["L"],
        "demands": [
            {"name": demand.name, "concentrate_l_min": flow}
            for demand, flow in zip(demands, drawn, strict=True)
        ],
    }
    if "required_minutes" in entries:
        required = _amount_at(entries["required_minutes"], "$.required_minutes")
        found["enough"] = lasts.minutes is None or lasts.minutes >= required * DUST
    return answer(given, found)


def _demand(given: Any, where: str) -> Demand:
    entries = keys_at(given, where, ("name", "solution_flow_l_min", "percent"), ("minutes",))
    minutes = entries.get("minutes")
    return Demand(
        name=text_at(entries["name"], f"{where}.name"),
        solution_flow=_amount_at(entries["solution_flow_l_min"], f"{where}.solution_flow_l_min")
        * FLOW["L/min"],
        percent=_least_percent_at(entries["percent"], f"{where}.percent"),
        minutes=None if minutes is None else _amount_at(minutes, f"{where}.minutes"),
    )


def _amount_at(given: Any, where: str) -> float:
    amount = number_at(given, where)
    if not 1e-6 <= amount <= LARGEST_AMOUNT:
        refuse_range(where, amount, "a number from 1e-6 to 1e9")
    return amount


def _least_percent_at(given: Any, where: str) -> float:
    percent = percent_at(given, where)
    if percent < 0.001:
        refuse_range(where, percent, "0.001 to 100 percent")
    return percent


def trend_command(given: Any) -> dict[str, Any]:
    """What years of results at one flow point, or of one property of a tank, say."""
    return answer(given, trend_answer(given))


def check_concentrate_command(given: Any) -> dict[str, Any]:
    """What stands in the tank: properties, strength, layers, and what that does to the percent."""
    return answer(given, concentrate_answer(given))


def direct_command(given: Any) -> dict[str, Any]:
    """Percents by two flows, by a tank that sinks, or by another liquid with its baseline."""
    return evaluate_direct(given).as_dict()


COMMANDS: dict[str, Callable[[Any], dict[str, Any]]] = {
    "check-concentrate": check_concentrate_command,
    "direct": direct_command,
    "recipe": recipe_command,
    "supply": supply_command,
    "trend": trend_command,
}
