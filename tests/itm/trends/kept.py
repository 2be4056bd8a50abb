"""Sealed records without their readings: lists and trends read the outcome, not the bench."""

from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from itm.accounts.actor import Actor, system
from itm.findings import impairing
from itm.records import latest
from itm.records.models import Bench, Evaluation, Move, ProportioningTest, RestorationLine, Visit
from itm.registry.models import Instrument, Proportioner
from tests.factories import TODAY

BY = system(TODAY)


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def visited(
    contractor: Actor, device: Proportioner, on: date, *, started: bool = True,
    restored: bool = True,
) -> Visit:  # fmt: skip
    visit: Visit = Visit.objects.create(
        by=BY,
        site=device.system.site,
        contractor=contractor.organisation,
        planned_on=on,
        coordinator="duty engineer",
        started_at=noon(on) if started else None,
        restored_at=noon(on) if started and restored else None,
    )
    impairing.follow(actor=BY, visit=visit, at=noon(on))
    return visit


def kept(
    scene: Any, percent: dict[str, float] | None = None, *, on: date, **facts: Any
) -> ProportioningTest:
    """A record of the scene's proportioner, sealed unless `state` says otherwise."""
    device = facts.pop("proportioner", scene.proportioner)
    instrument: Instrument = facts.pop("instrument", scene.instrument)
    visit = facts.pop("visit", None) or visited(scene.contractor, device, on)
    state = facts.pop("state", "sealed")
    bench = Bench.objects.create(by=BY, visit=visit, tank=device.tank, instrument=instrument)
    judged = {"limits": "in band", "certainty": "settled"} | {
        name: facts.pop(name) for name in ("limits", "certainty") if name in facts
    }
    values: dict[str, Any] = {
        "purpose": "periodic",
        "nominal_percent": Decimal(3),
        "criterion": "common",
        "band_lower": Decimal(3),
        "band_upper": Decimal("3.9"),
        "handed_in_at": noon(on),
        "sealed_at": noon(on) if state == "sealed" else None,
        **(judged if state != "draft" else {}),
    }
    test = ProportioningTest.objects.create(
        by=BY, site=visit.site, visit=visit, proportioner=device, bench=bench, tested_on=on,
        state=state, **values | facts,
    )  # fmt: skip
    if state == "sealed":
        latest.note(device)
    if state != "draft":
        points = [point(name, value, **judged) for name, value in (percent or {}).items()]
        Evaluation.objects.create(
            by=BY, test=test, engine_version="0", inputs_digest="0" * 64, inputs={},
            result={"flow_points": points},
        )  # fmt: skip
    return test


def point(name: str, value: float, limits: str, certainty: str) -> dict[str, Any]:
    return {
        "name": name,
        "percent": value,
        "interval": [value - 0.2, value + 0.2],
        "limits": limits,
        "certainty": certainty,
    }


def moved(test: ProportioningTest, verb: str, on: date, reason: str = "") -> None:
    Move.objects.create(
        by=BY, test=test, verb=verb, at=noon(on), person="A. Reader", organisation="An owner",
        reason=reason,
    )  # fmt: skip


def line(visit: Visit, device: Proportioner, **facts: Any) -> RestorationLine:
    position = facts.pop("position", 1)
    row: RestorationLine = RestorationLine.objects.create(
        by=BY, visit=visit, proportioner=device, position=position,
        **{"text": "Concentrate isolation valve open", **facts},
    )  # fmt: skip
    impairing.follow(actor=BY, visit=visit, at=noon(visit.planned_on))
    return row
