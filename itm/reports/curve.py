"""The calibration curve of a document: what the plot draws, and what the table beside it says."""

from typing import Any

from calc.sums import ordered_mean
from itm.core.quantities import parse_decimal
from itm.reports.plot import CalibrationCurve

QUANTITIES = {
    "refractive_index": "refractive index nD",
    "brix": "Brix scale",
    "conductivity": "conductivity",
}


def in_force(bottle: dict[str, Any]) -> list[dict[str, Any]]:
    """Readings of a bottle that count: those set aside stay on the paper and out of the fit."""
    return [reading for reading in bottle["readings"] if reading["set_aside"] is None]


def number(typed: str) -> float:
    """A reading as the person typed it: point or comma, spaces between thousands."""
    return float(parse_decimal(typed))


def mean(bottle: dict[str, Any]) -> float | None:
    """Mean of the readings in force, as the engine takes it; None without any."""
    values = [number(reading["value"]) for reading in in_force(bottle)]
    return float(ordered_mean(values)) if values else None


def quantity(document: dict[str, Any]) -> str:
    """What was read, with its unit."""
    bench = document["bench"]
    unit = bench["instrument"]["unit"]
    name = QUANTITIES.get(bench["method"], bench["method"])
    return f"{name}, {unit}" if unit else name


def curve(document: dict[str, Any]) -> CalibrationCurve:
    """The curve of a document in canonical form number 1 or 2."""
    result = document["evaluation"]["result"]
    slope, intercept = result["line"]["slope"], result["line"]["intercept"]
    bands = {(float(b["lower"]), float(b["upper"])) for b in _bands(document)}
    points, aside = [], []
    for bottle in document["bench"]["bottles"]:
        percent, read = bottle["percent"], mean(bottle)
        if percent is not None and percent < 100 and read is not None:
            used = percent > 0 or document["test"]["include_water"]
            points.append((percent, read, bottle["label"], used))
        for reading in bottle["readings"]:
            value = number(reading["value"])
            if reading["set_aside"] and (percent is None or percent < 100):
                aside.append((_across(percent, value, slope, intercept), value))
    return CalibrationCurve(
        points=tuple(points),
        slope=slope,
        intercept=intercept,
        band=bands.pop() if len(bands) == 1 else None,
        flow_points=tuple(
            (p["name"], intercept + slope * p["percent"], p["percent"], *p["interval"], p["limits"])
            for p in result["flow_points"]
        ),
        samples=tuple(
            (s["percent"], intercept + slope * s["percent"], s["name"]) for s in result["samples"]
        ),
        quantity=quantity(document),
        set_aside=tuple(aside),
    )


def _bands(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Of each flow point, where they have their own, else that of the test."""
    own = [run["band"] for run in document["runs"] if run.get("band")]
    return own or [document["test"]["band"]]


def _across(percent: float | None, value: float, slope: float, intercept: float) -> float:
    """Where a reading set aside stands: over its bottle's percent, a sample's on the line."""
    return (value - intercept) / slope if percent is None else percent
