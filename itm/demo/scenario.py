"""The invented world as fixtures/demo/scenario.json tells it, and its ages as dates."""

import json
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from calc.units import FLOW, VOLUME
from itm.core.clock import date_at
from itm.core.quantities import Quantity, quantity

PATH = Path(settings.BASE_DIR) / "fixtures" / "demo" / "scenario.json"
EQUIPMENT = PATH.with_name("equipment.json")
PROGRAMMES = PATH.with_name("programmes.json")
PAPERS = PATH.with_name("papers.json")
CHECKS = PATH.with_name("checks.json")
DIRECT = PATH.with_name("direct.json")
FINDINGS = PATH.with_name("findings.json")
DAYS_A_YEAR = 365.25
MORNING = time(8, 30)
HOURS_RUNNING = 3  # how long the crew of the running visit has been at work


def scenario() -> dict[str, Any]:
    """The story, and beside it the equipment of its sites and what their programmes ask."""
    told: dict[str, Any] = json.loads(PATH.read_text(encoding="utf-8"))
    told["equipment"] = json.loads(EQUIPMENT.read_text(encoding="utf-8"))["sites"]
    told["programmes"] = json.loads(PROGRAMMES.read_text(encoding="utf-8"))
    told["papers"] = json.loads(PAPERS.read_text(encoding="utf-8"))["files"]
    told["checks"] = json.loads(CHECKS.read_text(encoding="utf-8"))
    told["direct"] = json.loads(DIRECT.read_text(encoding="utf-8"))["tests"]
    told["findings"] = json.loads(FINDINGS.read_text(encoding="utf-8"))
    return told


def flow(text: str) -> Quantity:
    number, unit = text.split(" ", 1)
    return quantity(number, unit, FLOW)


def volume(text: str) -> Quantity:
    number, unit = text.split(" ", 1)
    return quantity(number, unit, VOLUME)


@dataclass(frozen=True)
class Ages:
    """Counts back from the day on which the demo is loaded."""

    now: datetime

    def day(self, days_ago: float, zone: str = "UTC") -> date:
        return date_at(zone, self.now) - timedelta(days=round(days_ago))

    def working_day(self, days_ago: float, zone: str) -> date:
        """Nobody tests on a weekend: the Friday before."""
        day = self.day(days_ago, zone)
        return day - timedelta(days=max(0, day.weekday() - 4))

    def morning(self, day: date, zone: str) -> datetime:
        return datetime.combine(day, MORNING, ZoneInfo(zone))


@dataclass(frozen=True)
class Planned:
    """One test day of the history: which device, which year, how strong it really mixed."""

    site: str
    tag: str
    device: dict[str, Any]
    back: int  # tests back from the last one, which is 0
    first: bool
    percents: dict[str, float]
    begins_at: datetime

    def event(self, kind: str) -> dict[str, Any] | None:
        events = self.device.get("events", [])
        return next((e for e in events if (e["test"], e["kind"]) == (self.back, kind)), None)

    @property
    def seed(self) -> str:
        # No date in it: the same figures come out on whatever day the demo is loaded.
        return f"{self.site}/{self.tag}/{self.back}"

    @property
    def serial_number(self) -> str:
        other = self.event("instrument")
        return str(other["serial_number"] if other else self.device["instrument"])


def days_of_work(told: dict[str, Any], ages: Ages) -> list[Planned]:
    """All test days in the order of the calendar, so that each site's seals follow each other."""
    found = [
        planned
        for owner in told["owners"]
        for site in owner["sites"]
        for system in site["systems"]
        for device in system["proportioners"]
        for planned in _of_device(site, device, ages)
    ]
    return sorted(found, key=lambda planned: (planned.begins_at, planned.site, planned.tag))


def _of_device(site: dict[str, Any], device: dict[str, Any], ages: Ages) -> list[Planned]:
    percents, zone = device["percents"], site["time_zone"]
    out = []
    for i, strengths in enumerate(percents):
        if strengths is None:
            continue
        back = len(percents) - 1 - i
        day = ages.working_day(device["last_test_days_ago"] + back * DAYS_A_YEAR, zone)
        planned = Planned(
            site=site["name"],
            tag=device["tag"],
            device=device,
            back=back,
            first=i == 0,
            percents=dict(zip(("minimum", "design"), strengths, strict=True)),
            begins_at=ages.morning(day, zone),
        )
        if planned.event("running"):
            running = ages.now - timedelta(hours=HOURS_RUNNING)
            planned = Planned(**{**vars(planned), "begins_at": running})
        out.append(planned)
    return out
