"""Two statements of a test, never made one: percent of the solution, strength of the concentrate.

A proportioner can be right while the tank is diluted. The percent stands on the standards; the
strength shows where undiluted concentrate was read too, by the slope between it and the water.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from itm.core.figures import MOST_DIGITS, figure
from itm.records.judging import band_at
from itm.reports.content_direct import is_direct
from itm.reports.content_results import measured

CONCENTRATE = "undiluted concentrate"
AGREE, STRONG, WEAK = "agree", "standards too strong", "standards too weak"
ALIKE = (
    "Standards and undiluted bottle from one diluted tank agree with each other as well: then only "
    "index and density against the certificate of the lot show the water."
)
CAUTION = (
    "Standards and undiluted concentrate contradict each other, so one of them is not what it is "
    "taken for. Until it is known which, take the system for the worse of the two, and let a "
    "qualified person decide whether it stays in service."
)


@dataclass(frozen=True)
class ByMixing:
    """One flow point by water and undiluted concentrate alone."""

    name: str
    by_standards: str
    percent: str
    limits: str
    note: str


@dataclass(frozen=True)
class TwoStatements:
    solution: str
    concentrate: tuple[str, ...]
    by_mixing: tuple[ByMixing, ...]  # only where the two contradict each other
    caution: str


def two_statements(document: dict[str, Any]) -> TwoStatements | None:
    """None where the engine of that time, or the method, does not look at the concentrate."""
    result = document["evaluation"]["result"]
    if "mixing" not in result or is_direct(document):
        return None
    found = result["mixing"]
    solution = (
        "By the standards the proportioner mixes in "
        f"{'; '.join(_mixed_in(point, result) for point in result['flow_points'])}."
    )
    if found is None:
        return TwoStatements(solution, (_not_stated(document),), (), "")
    disagree = found["verdict"] != AGREE
    return TwoStatements(
        solution=solution,
        concentrate=_strength(found),
        by_mixing=_by_mixing(result) if disagree else (),
        caution=CAUTION if disagree else "",
    )


def _mixed_in(point: dict[str, Any], result: dict[str, Any]) -> str:
    percent, half, _ = measured(point, band_at(point, result["band"]))
    return f"{percent} ± {half} % at {point['name']}"


def _percent(value: float, band: Mapping[str, Any]) -> str:
    edges = (band["lower"], band["upper"])
    return figure(value, edges, fewest=2, most=MOST_DIGITS)


def _not_stated(document: dict[str, Any]) -> str:
    read = any(
        bottle["role"] == CONCENTRATE and bottle["readings"]
        for bottle in document["bench"]["bottles"]
    )
    if not read:
        return (
            "Not stated: no undiluted concentrate was read. A diluted tank from which the "
            "standards were made too would not show in the percent."
        )
    if document["bench"]["method"] == "conductivity":
        return (
            "Not stated: conductivity does not rise in a straight line up to undiluted "
            "concentrate, so this reading says nothing about its strength. A refractometer does."
        )
    return (
        "Not stated: the undiluted concentrate reads like the water or beyond the scale, so "
        "nothing can be held against it."
    )


def _strength(found: dict[str, Any]) -> tuple[str, ...]:
    share = 100 * found["ratio"]
    sure = 200 * found["standard_uncertainty"]  # two-sided 95 %
    slope = (
        f"The slope by the standards is {share:.1f} ± {sure:.1f} % of that between water and "
        "undiluted concentrate."
    )
    if found["verdict"] == AGREE:
        agree = (
            f"The undiluted concentrate agrees with the standards: their slope is {share:.1f} % of "
            f"that between water and undiluted concentrate, known to ± {sure:.1f} %; a smaller "
            "difference would not show."
        )
        return (agree, ALIKE)
    if found["verdict"] == STRONG and found["tank_share"] is not None:
        low, high = (max(0.0, min(1.0, end)) for end in found["tank_share"]["interval"])
        left = found["tank_share"]["share"]
        return (
            f"The undiluted concentrate is weaker than the standards say. {slope}",
            f"If the standards were made from an undiluted lot and this bottle was taken from the "
            f"tank, {100 * left:.0f} % of what is in the tank is concentrate still (95 % interval "
            f"{100 * low:.0f} to {100 * high:.0f} %). If both came from one place, the standards "
            "got too little water.",
        )
    return (
        f"The undiluted concentrate is stronger than the standards say. {slope}",
        "Such standards read every sample too high: liquid left in the pipette, or concentrate "
        "added to the full volume of water. It says nothing against the tank.",
    )


def _by_mixing(result: dict[str, Any]) -> tuple[ByMixing, ...]:
    by_standards = {point["name"]: point["percent"] for point in result["flow_points"]}
    bands = {point["name"]: band_at(point, result["band"]) for point in result["flow_points"]}
    return tuple(
        ByMixing(
            name=point["name"],
            by_standards=_percent(by_standards[point["name"]], bands[point["name"]]),
            percent=_percent(point["percent"], bands[point["name"]]),
            limits=point["limits"],
            note="the answer hangs on which of the two is right" if point["reverses"] else "",
        )
        for point in result["mixing"]["flow_points"]
        if point["name"] in by_standards
    )
