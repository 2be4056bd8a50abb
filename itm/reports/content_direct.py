"""The measurements of a direct test as the record shows them: read from the document alone."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from itm.core.figures import figure
from itm.reports.density import density_words
from itm.reports.wording import Fact, facts, iso_day

TWO_FLOWS, DRAW_DOWN, OTHER_LIQUID = "two_flows", "draw_down", "other_liquid"
WEIGHED = "weighed"
VISCOSITY = (
    "It sees nothing of what became of the concentrate itself: the yearly check of its viscosity "
    "is part of the method (common practice)."
)
METHOD_NOTES = {
    TWO_FLOWS: (
        "Flow of concentrate over flow of solution, each by its own meter, read at the same time.",
        "The meter in the concentrate line has to suit the liquid.",
    ),
    DRAW_DOWN: (
        "Volume that left the vessel over the volume of solution in the same time.",
        "The vessel is taken as of ideal shape: dents, slope, pipes, foam on the surface and "
        "liquid that runs back are not in it.",
    ),
    WEIGHED: (
        "Mass that left the tank or drum, over its density and over the volume of solution in the "
        "same time.",
        "A hose that pulls on the scale, wind, whoever leans on the tank, and liquid that runs "
        "back are not in it.",
    ),
    OTHER_LIQUID: (
        "Another liquid in place of concentrate, scaled by what it read beside a test with "
        "concentrate at the same flow. It tells whether the device changed since then.",
        VISCOSITY,
    ),
}
OUT_OF_DATE = "out of date when it was read"
NONE = "No calibration certificate is on record."


@dataclass(frozen=True)
class MeasuredLine:
    """One thing that was read at a flow point."""

    what: str
    value: str
    source: str


@dataclass(frozen=True)
class MeasuredPoint:
    """A flow point with what was read there, and what its uncertainty is made of."""

    name: str
    lines: tuple[MeasuredLine, ...]
    parts: str
    baseline: str


def is_direct(document: dict[str, Any]) -> bool:
    return "direct" in document


def measured_with(document: dict[str, Any]) -> tuple[Fact, ...]:
    direct, on = document["direct"], date.fromisoformat(document["test"]["tested_on"])
    vessel = direct["vessel"]
    liquid = ": ".join(filter(None, (direct["liquid"], direct["liquid_name"])))
    return facts(
        ("Method", direct["method_in_words"]),
        ("In place of concentrate", liquid),
        *_meter("Meter in the concentrate line", direct["concentrate_meter"], on),
        ("Second meter", direct["meter_in"]),
        *_meter("Second flow by", direct["second_meter"], on),
        ("Vessel", _vessel(vessel) if vessel else ""),
        ("Level read to", vessel["level_step"] if vessel else ""),
        *_weighing(direct.get("weighing")),
    )


def _meter(name: str, meter: dict[str, Any] | None, on: date) -> tuple[Fact, ...]:
    if meter is None:
        return ()
    own = meter["instrument"]
    named = f"{own['name']}, serial number {own['serial_number']}" if own else meter["fitted"]
    accuracy = f"may be off by {meter['accuracy']} of the reading" if meter["accuracy"] else ""
    said = ", ".join(filter(None, (named or "read by pitot", accuracy)))
    if own is None:
        return (Fact(name, said),)
    proof = ", ".join(filter(None, (own["certificate"], own["laboratory"])))
    return (Fact(name, said), Fact("Its certificate", proof or "none on record", _due(own, on)))


def _due(own: dict[str, Any], on: date) -> str:
    due = own["certificate_due_on"]
    if not due:
        return "no due date on record" if own["certificate"] else ""
    if date.fromisoformat(due) < on:
        return f"{OUT_OF_DATE}: it was due on {iso_day(due)}"
    return f"due on {iso_day(due)}, after the test"


def _weighing(held: dict[str, Any] | None) -> tuple[tuple[str, str], ...]:
    if held is None:
        return ()
    step = f"read to {held['step']}" if held["step"] else ""
    error = f"may be off by {held['error']}" if held["error"] else ""
    density = density_words(
        held["density"], at="", error=held["density_error"], source=held["density_from"]
    )
    return (
        ("Scale", ", ".join(filter(None, (held["scale"], step, error)))),
        ("Density of the concentrate", density),
    )


def _vessel(vessel: dict[str, Any]) -> str:
    sizes = [
        f"{name} {vessel[name]}"
        for name in ("diameter", "length", "width", "height")
        if vessel[name]
    ]
    heads = f"{vessel['heads']} heads" if vessel["heads"] else ""
    return ", ".join(filter(None, (vessel["shape"], *sizes, heads)))


def points(document: dict[str, Any]) -> tuple[MeasuredPoint, ...]:
    found = document["evaluation"] or {"result": {"flow_points": []}}
    results = {point["name"]: point for point in found["result"]["flow_points"]}
    noted = {run["flow_point"]: run for run in document["runs"]}
    return tuple(
        _point(run, noted[run["flow_point"]], results.get(run["flow_point"]))
        for run in document["direct"]["runs"]
    )


def _point(
    run: dict[str, Any], noted: dict[str, Any], result: dict[str, Any] | None
) -> MeasuredPoint:
    was = run["baseline"]
    lines = [
        *_flow("Concentrate line", run["concentrate"]),
        *(_flow("Second flow", run["second"]) or [_noted(noted)]),
        MeasuredLine("Level before", run["level_before"], ""),
        MeasuredLine("Level after", run["level_after"], ""),
        MeasuredLine("Weight before", run.get("mass_before", ""), ""),
        MeasuredLine("Weight after", run.get("mass_after", ""), ""),
        MeasuredLine("Time between", run["duration"], run["duration_in_words"]),
    ]
    if was is not None:
        when = ", ".join(filter(None, (iso_day(was["beside_on"]), was["beside_source"])))
        lines += [
            MeasuredLine("This liquid beside the foam", was["liquid_flow"], when),
            MeasuredLine("Second flow then", was["second_flow"], when),
        ]
    return MeasuredPoint(
        name=run["flow_point"],
        lines=tuple(line for line in lines if line.value),
        parts=_parts(result) if result else "",
        baseline=_baseline(was, result) if was else "",
    )


def _flow(name: str, read: dict[str, Any]) -> list[MeasuredLine]:
    source = read["source"]
    if not any(read[key] for key in ("flow", "start", "end")):
        return []
    return [
        MeasuredLine(name, read["flow"], source),
        MeasuredLine(f"{name}, totaliser before", read["start"], source),
        MeasuredLine(f"{name}, totaliser after", read["end"], source),
    ]


def _noted(run: dict[str, Any]) -> MeasuredLine:
    """A flow of solution that was noted at the discharge, and not beside the other readings."""
    source = ", ".join(filter(None, (run["flow_source"], "noted at the discharge")))
    return MeasuredLine("Flow of solution", run["solution_flow"], source)


def _parts(result: dict[str, Any]) -> str:
    """The budget, the largest part first."""
    parts = sorted(result["parts"], key=lambda one: -one["standard_uncertainty"])
    return "; ".join(f"{p['name']} {p['standard_uncertainty']:.2g} %" for p in parts)


def baseline_words(name: str, percent: float | None) -> str:
    """The test with foam that another liquid is compared with."""
    if percent is None:
        return ""
    return f"Compared with the {name}, which gave {figure(percent, (), fewest=2, most=4)} %."


def _baseline(was: dict[str, Any], result: dict[str, Any] | None) -> str:
    said = f"Baseline with foam: {was['name']}"
    if was["beside_on"]:
        said += f"; this liquid was read beside it on {iso_day(was['beside_on'])}"
    if result is None:
        return f"{said}."
    return (
        f"{said}. The liquid gave {result['liquid_percent']:.4g} % of itself, and the factor to "
        f"concentrate is {result['factor']:.4g}."
    )


def on_baselines(document: dict[str, Any]) -> list[tuple[str, str]]:
    """A liquid that was read on another day than the foam may have met another device."""
    said = []
    for run in document["direct"]["runs"]:
        was = run["baseline"]
        if was and was["beside_on"] and was["beside_on"] != was["tested_on"]:
            said.append(
                (
                    f"flow point {run['flow_point']}",
                    f"The liquid was read on {iso_day(was['beside_on'])} and the foam on "
                    f"{iso_day(was['tested_on'])}: the factor holds only if nothing changed "
                    "between.",
                )
            )
    return said


def on_meters(document: dict[str, Any]) -> list[tuple[str, str]]:
    """What is to be said of certificates: where, and the sentence."""
    said, on = [], date.fromisoformat(document["test"]["tested_on"])
    for place in ("concentrate_meter", "second_meter"):
        meter = document["direct"][place]
        own = meter["instrument"] if meter else None
        if own is None:
            continue
        if (words := _due(own, on)).startswith(OUT_OF_DATE):
            said.append((f"{own['name']}, certificate {own['certificate']}", f"{words}."))
        elif not own["certificate"] and not own["certificate_due_on"]:
            said.append((own["name"], NONE))
    return list(dict.fromkeys(said))
