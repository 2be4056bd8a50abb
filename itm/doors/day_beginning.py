"""What can be tested at the site of a visit, so that a test begins where there is no signal.

The device makes of this what Prepare will make of the entry on the server (`deeds/beginning.py`):
the same rows under the same keys (`records/prepared_keys.py`), and limits as they stand today. What
the server freezes is its own; the device shows that as soon as the entry is taken.
"""

from copy import deepcopy
from datetime import date, datetime
from typing import Any

from django import forms
from django.db.models import Prefetch

from calc.series import water_density_series
from calc.standards import suggested_percents
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.doors.asked import asked
from itm.doors.day import asked_in, listed, plain
from itm.doors.day_bench import ASKED, instrument_part
from itm.records import queries
from itm.records.bench import SHARED
from itm.records.bench_forms import BenchForm
from itm.records.drafts import may_begin
from itm.records.forms import TestEditForm, TestForm
from itm.records.merge import shown
from itm.records.models import Bench, Bottle, ProportioningTest, Visit
from itm.records.prepared_keys import given_up
from itm.records.remarks import (
    lot_remarks,
    on_certificate,
    other_nominals,
    outside_listing,
)
from itm.records.rule import FrozenRule, baseline_sentence, frozen_rule, probabilities
from itm.registry import queries_equipment
from itm.registry.book import lines_of
from itm.registry.contents import Contents, as_of
from itm.registry.models import ConcentrateLot, FlowPoint, Instrument, Proportioner, Site, Tank
from itm.registry.restoring import FLUSH_ORDER

METHOD, Phase = ProportioningTest.Method.BENCH, ProportioningTest.Phase
ACCEPTANCE = ProportioningTest.Purpose.ACCEPTANCE
AS_TYPED = ("water_source", "glassware", "notes")


class Begun(forms.Form):
    """What the page asks of a test and its bench, without those that the device draws itself."""

    purpose, adjusted, water_source, glassware = (
        deepcopy(TestForm.base_fields[name])
        for name in ("purpose", "adjusted", "water_source", "glassware")
    )
    batch_volume_ml = forms.CharField(
        label="Volume of each standard, mL", max_length=6, required=False
    )
    correct_temperatures, other_percent_because, notes = (
        deepcopy(TestForm.base_fields[name])
        for name in ("correct_temperatures", "other_percent_because", "notes")
    )


def beginning(actor: Actor, visit: Visit, at: datetime) -> dict[str, Any]:
    """Everything that a device draws a test from, or that nothing begins here for the reader."""
    if visit.restored_at is not None or not may_begin(actor, visit):
        return {"may": False, "devices": [], "meters": []}
    site = visit.site
    on = date_at(site.time_zone, at)
    before = given_up(queries.visit_tests(actor, visit))
    known = FlowPoint.objects.filter(retired_on=None).order_by("flow", "pk")
    rows = queries.proportioners_at(actor, site).prefetch_related(
        Prefetch("flow_points", known, to_attr="in_use")
    )
    tanks = _Tanks(on)
    limits = probabilities(site, on)
    return {
        "may": True,
        "asked": asked(Begun()),
        "asked_of_test": {
            phase: asked(TestEditForm(row=ProportioningTest()), asked_in(phase)) for phase in Phase
        },
        "labels": {
            "purpose": [list(choice) for choice in ProportioningTest.Purpose.choices],
            "phase": [list(choice) for choice in Phase.choices],
        },
        "bench": {
            **{name: shown(Bench(), name) for name in ASKED},
            "asked": asked(BenchForm(row=Bench()), ASKED),
            "water_density": water_density_series(),
            "certificate_needed": site.certificate_needed,
        },
        "devices": [_device(row, on, limits, before, tanks) for row in rows],
        "meters": _meters(actor, site, visit.planned_on if visit.started_at is None else on),
    }


class _Tanks:
    """What the tanks hold and which lots standards can be made from, each read once."""

    def __init__(self, on: date) -> None:
        self.on = on
        self.known: dict[int, tuple[Contents, list[ConcentrateLot], ConcentrateLot | None]] = {}

    def of(self, tank: Tank) -> tuple[Contents, list[ConcentrateLot], ConcentrateLot | None]:
        if tank.pk not in self.known:
            held = as_of(lines_of(tank), self.on)
            lots = list(queries.lots_for(tank))
            self.known[tank.pk] = (held, lots, queries.newest_lot_in(tank))
        return self.known[tank.pk]


def _device(
    device: Proportioner, on: date, limits: tuple[float | None, float | None], before: Any,
    tanks: _Tanks,
) -> dict[str, Any]:  # fmt: skip
    held, lots, newest = tanks.of(device.tank)
    points: list[FlowPoint] = device.in_use  # type: ignore[attr-defined]
    nominal = device.nominal_percent

    def lot_part(lot: ConcentrateLot | None) -> dict[str, Any]:
        return {
            "key": str(lot.key) if lot else "",
            "words": str(lot or "Not known"),
            "remarks": [*lot_remarks(nominal, device.tank, held, lot, on), *held.remarks],
            "other_percent": bool(other_nominals(nominal, held, lot)),
        }

    return {
        "key": str(device.key),
        "tag": device.tag,
        "system": device.system.name,
        "kind": device.get_kind_display(),
        "tank": device.tank.tag,
        "nominal_percent": plain(nominal),
        "listed": listed(device),
        "rules": {
            purpose: _rule(device, on, purpose, points, limits)
            for purpose in ProportioningTest.Purpose
        },
        "points": [
            {
                "key": str(point.key), "name": point.name, "flow": point.flow,
                "flow_typed": point.flow_typed, "outside": outside_listing(device, point.flow),
            }
            for point in points
        ],
        "flush": list(device.flush_order or FLUSH_ORDER),
        "restoration": queries_equipment.lines_to_put_back(device)[0],
        "bottles": _bottles(float(nominal)),
        "lots": [lot_part(None), *map(lot_part, lots)],
        "lot": str(newest.key) if newest else "",
        "before": {phase: before.get((device.pk, phase, METHOD), 0) for phase in Phase},
    }  # fmt: skip


def _rule(
    device: Proportioner, on: date, purpose: str, points: list[FlowPoint],
    limits: tuple[float | None, float | None],
) -> dict[str, Any]:  # fmt: skip
    """Limits for this purpose as Prepare would freeze them today, or why it would refuse."""
    try:
        rule = frozen_rule(device, on, purpose=purpose, points=points, asked=limits)
    except Refused as refused:
        return {"problem": refused.sentence}
    if rule.missing:
        return {"problem": baseline_sentence(rule.missing)}
    return {
        "problem": "",
        "criterion": rule.words.title or rule.criterion,
        "band": _texts(rule),
        "own": {one.name: _texts(one) for one in rule.own},
    }


def _texts(of: "FrozenRule | Any") -> dict[str, str | None]:
    return {"lower": plain(of.band.lower), "upper": plain(of.band.upper)}


def _bottles(nominal: float) -> list[dict[str, Any]]:
    """A usual bench, as `records.bench.to_set_out` has it: a key is made of `what`."""
    shared = [
        {"what": role, "role": role, "label": label, "target_percent": None}
        for role, label, _ in SHARED
    ]
    standards = [
        {
            "what": f"S{n}",
            "role": Bottle.Role.STANDARD,
            "label": f"S{n}",
            "target_percent": f"{p:g}",
        }
        for n, p in enumerate(suggested_percents(nominal), start=1)
    ]
    return [*shared, *standards]


def _meters(actor: Actor, site: Site, on: date) -> list[dict[str, Any]]:
    rows = queries.instruments(actor).prefetch_related("certificates")
    return [_meter(row, site, on) for row in rows]


def _meter(meter: Instrument, site: Site, on: date) -> dict[str, Any]:
    said = on_certificate(meter, site, on)
    return {
        "key": str(meter.key),
        "words": str(meter),
        "compensates": meter.temperature_compensated,
        "remarks": [said] if said else [],
        **instrument_part(meter),
    }
