"""The test day of a report: who, where, the discharge, and what was put back."""

from dataclasses import dataclass
from typing import Any

from itm.records.outlets import told
from itm.reports.wording import Fact, SiteClock, by_whom, facts, iso_day

LEFT_OUT = "left out of service"


@dataclass(frozen=True)
class RunLine:
    flow_point: str
    planned: str
    measured: str
    outlets: str
    pressure: str
    foam: str
    level: str
    samples: str


@dataclass(frozen=True)
class DoneLine:
    """A step or a line of a list: what, how it ended, when, who, and what is to be said of it."""

    text: str
    outcome: str
    at: str
    by: str
    note: str = ""


def place(document: dict[str, Any]) -> tuple[Fact, ...]:
    site, system = document["site"], document["system"]
    address = ", ".join(line for line in site["address"].splitlines() if line.strip())
    return facts(
        ("Site", site["name"]),
        ("Address", ", ".join(part for part in (address, site["country"]) if part)),
        ("Owner", site["owner"]),
        *(
            (f"Authority, {_lower(authority['scope'])}", authority["name"])
            for authority in document["authorities"]
        ),
        ("System", f"{system['name']} ({_lower(system['kind'])})"),
        ("Protects", ", ".join(p for p in (system["hazard"], _lower(system["fuel"])) if p)),
        ("Required discharge time", f"{system['required_minutes']:g} min"),
    )


def device(document: dict[str, Any]) -> tuple[Fact, ...]:
    device, tank = document["proportioner"], document["tank"]
    listed = [device["lowest_listed_flow"], device["highest_listed_flow"]]
    fills = "; ".join(
        f"{fill['volume']} of {fill['lot']} on {iso_day(fill['filled_on'])}"
        for fill in tank["fills"]
    )
    return facts(
        ("Proportioner", f"{device['tag']} ({_lower(device['kind'])})"),
        ("Nominal", f"{document['test']['nominal_percent']} % by volume of the solution"),
        ("Listed flow range", f"{listed[0] or 'open'} to {listed[1] or 'open'}"
         if any(listed) else ""),
        ("Concentrate tank", f"{tank['tag']} ({_lower(tank['kind'])}), "
                             f"usable volume {tank['usable_volume']}"),
        ("Filled with", fills),
        ("Holds by the book", "; ".join(
            f"{part['volume']} of {part['lot']} ({part['share_percent']} %)"
            for part in tank.get("contents", [])
        )),
    )  # fmt: skip


def occasion(document: dict[str, Any]) -> tuple[Fact, ...]:
    test, visit = document["test"], document["visit"]
    air = visit["ambient_c"] or ""
    if air[-1:].isdigit():  # the first forms hold the number alone
        air += " °C"
    return facts(
        ("Tested on", iso_day(test["tested_on"])),
        ("Purpose", test["purpose"]),
        ("Phase", test["phase"]),
        ("Adjusted or renewed", test["adjusted"]),
        ("Contractor", visit["contractor"]),
        ("Crew", visit["crew"]),
        ("Weather", ", ".join(part for part in (air, visit["weather"]) if part)),
        ("Discharge and effluent", visit["effluent_plan"]),
        ("Notes", test["notes"]),
    )


def _lower(label: str) -> str:
    """A label inside a sentence: “Bladder tank” as “bladder tank”, but AFFF stays."""
    return label[:1].lower() + label[1:] if label[1:2].islower() else label


def runs(document: dict[str, Any], clock: SiteClock) -> tuple[RunLine, ...]:
    return tuple(
        RunLine(
            flow_point=run["flow_point"],
            planned=run["flow"],
            measured=by_whom(run["solution_flow"], run["flow_source"]) or "not measured",
            outlets="; ".join(told(outlet) for outlet in run.get("outlets", [])),
            pressure=run["inlet_pressure"],
            foam=clock.time(run["foam_seen_at"]),
            level=f"{run['level_before'] or '–'} to {run['level_after'] or '–'}"
            if run["level_before"] or run["level_after"]
            else "",
            samples=", ".join(run["samples"]),
        )
        for run in document["runs"]
    )


def flush(document: dict[str, Any], clock: SiteClock) -> tuple[DoneLine, ...]:
    return tuple(
        DoneLine(
            text=step["text"],
            outcome="done" if step["done_at"] else "not done",
            at=clock.time(step["done_at"]),
            by=step["done_by"],
        )
        for step in document["flush"]
    )


def restoration(document: dict[str, Any], clock: SiteClock) -> tuple[DoneLine, ...]:
    return tuple(
        DoneLine(
            text=line["text"],
            outcome=line["outcome"],
            at=clock.time(line["ended_at"]),
            by=line["ended_by"],
            note=_handed_over(line, clock),
        )
        for line in document["restoration"]
    )


def _handed_over(line: dict[str, Any], clock: SiteClock) -> str:
    handed = ""
    if line["handed_to"]:
        at = clock.time(line["handed_at"])
        handed = f"handed over in writing to {line['handed_to']}" + (f", {at}" if at else "")
    return "; ".join(part for part in (line["reason"], handed) if part)


def left_out(document: dict[str, Any]) -> str:
    """The sentence that must not be missed when something was not put back."""
    lines = [line["text"] for line in document["restoration"] if line["outcome"] == LEFT_OUT]
    if not lines:
        return ""
    return f"Left out of service when the crew went: {'; '.join(lines)}."


def impairment(document: dict[str, Any], clock: SiteClock) -> tuple[Fact, ...]:
    visit = document["visit"]
    ended = by_whom(clock.moment(visit["restored_at"]), visit["restored_by"])
    return facts(
        ("Out of service from", by_whom(clock.moment(visit["started_at"]), visit["started_by"])),
        ("Reason", visit["impairment_reason"]),
        ("Coordinator", visit["coordinator"]),
        ("Out of service until", ended or "not ended when this record was sealed"),
    )


def notices(document: dict[str, Any], clock: SiteClock) -> tuple[DoneLine, ...]:
    return tuple(
        DoneLine(
            text=notice["told"],
            outcome=notice["how"],
            at=clock.time(notice["told_at"]),
            by=notice["by"],
            note=notice["reference"],
        )
        for notice in document["visit"]["notices"]
    )
