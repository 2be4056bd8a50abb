"""Results of a report: each flow point and each sample, the rule that judged them, warnings."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import floor, log10
from typing import Any

from itm.core.figures import MOST_DIGITS, chance, figure
from itm.records.judging import band_at
from itm.records.rule import chance_of_lean, left_by_lean
from itm.registry.criteria import Words, title_before
from itm.reports.curve import in_force
from itm.reports.wording import SiteClock, at_least_tenths

LEAST_DIGITS = 2
STANDARD = "premix standard"
EACH_ITS_OWN = "own for each flow point"
WATERS = {
    "water": "test water",
    "water_again": "test water, read once more",
    "test_water": "water that the system was fed with",
}
PLACE = re.compile(r"^\$\.([a-z_]+)(?:\[(\d+)\])?")
PLACES = {
    "water": "test water",
    "water_again": "test water, read again",
    "test_water": "water of the discharge",
    "concentrate": "undiluted concentrate",
    "instrument": "instrument",
    "standards": "standards",
    "densities": "density of the concentrate",
}


@dataclass(frozen=True)
class Answer:
    """One flow point: percent, how sure, on which side of the limits, and what that means."""

    name: str
    flow: str
    percent: str
    expanded: str
    interval: str
    limits: str
    certainty: str
    chance: str
    why: str
    standard_uncertainty: str
    degrees_of_freedom: str
    band: str  # its own limits, empty where the test has one band
    supply: str  # minutes that the foam lasts; empty where they are not known
    supply_note: str
    short: bool  # it lasts less than required


@dataclass(frozen=True)
class SampleLine:
    name: str
    flow_point: str
    taken: str
    percent: str
    interval: str
    limits: str


@dataclass(frozen=True)
class WarningLine:
    where: str
    text: str


def band_words(document: dict[str, Any]) -> str:
    if any(run.get("band") for run in document["runs"]):
        return EACH_ITS_OWN
    return limits_words(document["test"]["band"])


def limits_words(band: Mapping[str, Any]) -> str:
    lower, upper = (at_least_tenths(str(band[end])) for end in ("lower", "upper"))
    return f"{lower} to {upper}\u00a0%"


def answers(document: dict[str, Any]) -> tuple[Answer, ...]:
    runs = {run["flow_point"]: run for run in document["runs"]}
    supplies = {line["flow_point"]: line for line in document["supply"]}
    return tuple(
        _answer(point, runs.get(point["name"]), supplies.get(point["name"]), document["test"])
        for point in document["evaluation"]["result"]["flow_points"]
    )


def _answer(
    point: dict[str, Any],
    run: dict[str, Any] | None,
    supply: dict[str, Any] | None,
    test: dict[str, Any],
) -> Answer:
    band = band_at(point, test["band"])
    percent, expanded, interval = measured(point, band)
    wanted = test["verdict_probability"]
    return Answer(
        name=point["name"],
        flow=(run["solution_flow"] or run["flow"]) if run else "",
        percent=percent,
        expanded=expanded,
        interval=interval,
        limits=point["limits"],
        certainty=point["certainty"],
        chance=chance(point["probability_of_limits"], wanted),
        why=_why(point, test),
        band=limits_words(band) if "band" in point else "",
        standard_uncertainty=f"{point['standard_uncertainty']:.3g}",
        degrees_of_freedom=f"{point['degrees_of_freedom']:g}",
        **_supply(supply),
    )


def measured(point: dict[str, Any], band: Mapping[str, Any]) -> tuple[str, str, str]:
    """Percent, expanded uncertainty and interval, in digits that fit each other and the limits."""
    edges = (band["lower"], band["upper"])
    low, high = point["interval"]
    half = (high - low) / 2
    digits = min(max(1 - floor(log10(half)), LEAST_DIGITS), MOST_DIGITS)

    def written(value: float, limits: tuple[float | str, ...]) -> str:
        return figure(value, limits, fewest=digits, most=MOST_DIGITS)

    return (
        written(point["percent"], edges),
        written(half, (0.0,)),
        f"{written(low, edges)} to {written(high, edges)}",
    )


def _why(point: dict[str, Any], test: dict[str, Any]) -> str:
    wanted, not_lean = test["verdict_probability"], test.get("lean_probability")
    band = band_at(point, test["band"])
    if wanted is None:
        return "simple acceptance: no probability is asked for"
    asked = chance(wanted)
    if point["certainty"] == "settled":
        return f"at least {asked} asked for"
    if point["probability_of_limits"] < wanted:
        return f"less than the {asked} asked for"
    if not_lean is not None and left_by_lean(point, band, not_lean):
        sure = chance(1 - chance_of_lean(point, band), not_lean)
        return (
            f"enough by itself ({asked} asked for), but not lean with only {sure} of 100 where "
            f"{chance(not_lean)} are asked for"
        )
    return f"enough by itself ({asked} asked for), but a warning below leaves it open"


def _supply(line: dict[str, Any] | None) -> dict[str, Any]:
    if line is None or line["minutes"] is None:
        return {"supply": "", "supply_note": "", "short": False}
    required = line["required_minutes"]
    short = line["minutes"] < required
    return {
        "supply": f"{figure(line['minutes'], (required,), fewest=1, most=MOST_DIGITS)} min",
        "supply_note": f"{'less than' if short else 'covers'} the required {required:g} min",
        "short": short,
    }


def supply_basis(document: dict[str, Any]) -> str:
    """What the minutes rest on, once when it is the same for all."""
    return "; ".join(dict.fromkeys(line["basis"] for line in document["supply"]))


def samples(document: dict[str, Any], clock: SiteClock) -> tuple[SampleLine, ...]:
    bottles = document["bench"]["bottles"] if document["bench"] else []
    taken = {b["label"]: b["taken_at"] for b in bottles}
    out = []
    for sample in document["evaluation"]["result"]["samples"]:
        percent, _, interval = measured(sample, band_at(sample, document["test"]["band"]))
        out.append(
            SampleLine(
                name=sample["name"],
                flow_point=sample["flow_point"],
                taken=clock.time(taken.get(sample["name"])),
                percent=percent,
                interval=interval,
                limits=sample["limits"],
            )
        )
    return tuple(out)


def rule(document: dict[str, Any]) -> tuple[str, ...]:
    """The decision rule in words, as it was fixed before the first reading."""
    test = document["test"]
    wanted = test["verdict_probability"]
    words = criterion(document)
    between = "; for this test " if ":" in words.title else ": "
    own = own_bands(document)
    basis = f"{words.title}. {own}" if own else f"{words.title}{between}{band_words(document)}."
    source = f"Source: {words.grounds}." if words.grounds else ""
    sure = (
        "Simple acceptance: the plain value decides alone, and no result is undecided."
        if wanted is None
        else (
            "The number out of 100 is the probability that this statement is right. It is settled "
            f"when that is at least {chance(wanted)} of 100 and no question is left open; "
            "otherwise it is undecided."
        )
    )
    not_lean = test.get("lean_probability")
    lean = (
        f"An answer other than lean needs, besides, at least {chance(not_lean)} of 100 that it is "
        "not lean."
        if wanted is not None and not_lean is not None
        else ""
    )
    return tuple(
        sentence
        for sentence in (
            f"{basis} {source}".strip(),
            "Percent is the volume of concentrate in 100 volumes of solution. In band, lean or "
            "rich goes by the plain value before any rounding; both limits belong to the band.",
            sure,
            lean,
            "Limits and rule were fixed when the test was prepared, before the first reading.",
        )
        if sentence
    )


def own_bands(document: dict[str, Any]) -> str:
    """The limits of each flow point and what they were taken from; empty where the test has one
    band."""
    told = "; ".join(
        f"at {run['flow_point']} {limits_words(run['band'])}, from {run['baseline']['percent']} % "
        f"in the {run['baseline']['source']}"
        for run in document["runs"]
        if run.get("band")
    )
    return f"{told[:1].upper()}{told[1:]}." if told else ""


def criterion(document: dict[str, Any]) -> Words:
    """The criterion in words. Canonical form 1 held its code and its source only, as does a test
    that was prepared before the titles were kept."""
    test = document["test"]
    if test.get("criterion_title"):
        return Words(
            test["criterion_title"], test["criterion_source"],
            test["criterion_edition"], test["criterion_confidence"],
        )  # fmt: skip
    return Words(title_before(test["criterion"]), test["criterion_source"])


def warnings(document: dict[str, Any]) -> tuple[WarningLine, ...]:
    return tuple(
        WarningLine(_place(warned["where"], document), warned["message"])
        for warned in document["evaluation"]["result"]["warnings"]
    )


def _place(where: str, document: dict[str, Any]) -> str:
    """A JSON path of the engine in the words of the bench."""
    found = PLACE.match(where)
    if found is None:
        return ""
    kind, index = found[1], found[2]
    if index is None:
        return PLACES.get(kind, "")
    if kind in ("samples", "flow_points"):
        named = document["evaluation"]["result"][kind][int(index)]["name"]
        return f"{kind[:-1].replace('_', ' ')} {named}"
    sent = [b for b in document["bench"]["bottles"] if b["role"] == STANDARD and in_force(b)]
    return f"standard {sent[int(index)]['label']}"
