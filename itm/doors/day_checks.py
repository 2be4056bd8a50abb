"""The concentrate checks of a day: bottles, values, and what each property is held against."""

from collections.abc import Sequence
from copy import deepcopy
from datetime import datetime
from typing import Any

from django import forms

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.doors.asked import asked
from itm.intake.concentrate import FIELDS
from itm.records import check_queries as queries
from itm.records import checking, states
from itm.records.check_forms import CheckForm, SampleEditForm
from itm.records.check_limits import certificate_beside, limits_beside
from itm.records.drafts import may_begin
from itm.records.merge import shown
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    LaboratoryReport,
    SampleValue,
    Visit,
)
from itm.records.sampling import labels_taken, stem_of_labels
from itm.registry import queries as registry
from itm.registry.properties import KNOWN, Property

UNCERTAINTIES = ("u_refractive_index", "u_density")
BEGUN_WITH = ("purpose", "circulated", "programmes", *UNCERTAINTIES, "notes")


def properties() -> list[dict[str, Any]]:
    """What can be measured of a bottle: its units, each with the factor to the first, and what is
    believed of it in that."""
    return [_property(one) for one in KNOWN]


def _property(known: Property) -> dict[str, Any]:
    field = FIELDS[known.name]
    return {
        "name": known.name,
        "words": known.words,
        "heading": known.heading,
        "units": {unit: f"{factor.normalize():f}" for unit, factor in known.units.items()},
        "at_temperature": known.mixes,
        "lowest": f"{field.lowest:f}",
        "highest": f"{field.highest:f}",
        "lowest_itself": field.lowest_itself,
        "range": field.range,
        "example": field.example,
    }


def checks_of(actor: Actor, rows: Sequence[ConcentrateCheck]) -> list[dict[str, Any]]:
    """Of a visit those that `checks_beside` gives."""
    taken = labels_taken(row for row in rows if states.may(actor, "change", row))
    return [_check(actor, row, taken) for row in rows]


def _check(actor: Actor, check: ConcentrateCheck, taken: list[str]) -> dict[str, Any]:
    return {
        "key": str(check.key),
        "tank": check.tank.tag,
        "checked_on": check.checked_on.isoformat(),
        "purpose": check.purpose,
        "purpose_label": check.get_purpose_display(),
        "circulated": check.circulated,
        **{name: shown(check, name) for name in ("programmes", *UNCERTAINTIES)},
        "notes": check.notes,
        "state": check.state,
        "state_label": check.get_state_display(),
        "may": {
            "write": states.may(actor, "change", check),
            "hand_in": states.may(actor, "hand_in", check),
        },
        "closed": ""
        if check.state == ConcentrateCheck.State.DRAFT
        else f"This check is {check.get_state_display()} and takes no more entries.",
        "labels_taken": [one for one in taken if one.startswith(stem_of_labels(check))],
        "usual_points": list(queries.usual_points(check)),
        "held_against": {known.name: _beside(check, known.name) for known in KNOWN},
        "samples": [_sample(sample) for sample in check.samples.all()],
        "reports": [_report(check, report) for report in check.laboratory_reports.all()
                    if not report.withdrawn_reason],
    }  # fmt: skip


def beginning(actor: Actor, visit: Visit) -> dict[str, Any]:
    """What there is to check at the site, and what a check is asked as it begins and later."""
    tanks = list(registry.tanks_to_choose(visit.site))
    codes = queries.codes_by_tank(actor, tanks)
    return {
        "may": may_begin(actor, visit),
        "tanks": [
            {
                "key": str(tank.key),
                "tag": tank.tag,
                "usual_points": list(queries.points_of(tank, circulated=False)),
                "points_circulated": list(queries.points_of(tank, circulated=True)),
                "usual": {
                    "purpose": ConcentrateCheck.Purpose.PERIODIC,
                    "circulated": "False",
                    "programmes": "\n".join(codes.get(tank.pk, [])),
                    "u_refractive_index": f"{checking.U_INDEX:f}",
                    "u_density": f"{checking.U_DENSITY:f}",
                },
            }
            for tank in tanks
        ],
        "begin_check": asked(CheckForm(), BEGUN_WITH),
        "note_check": asked(CheckForm(), ("checked_on", *BEGUN_WITH)),
        "note_check_sample": asked(_OnItsWay()),
    }


class _OnItsWay(forms.Form):
    """What the page asks of a bottle that is sent away, without a bottle."""

    laboratory, sent_on, consignment, received_on = (
        deepcopy(SampleEditForm.base_fields[name])
        for name in ("laboratory", "sent_on", "consignment", "received_on")
    )


def _report(check: ConcentrateCheck, report: LaboratoryReport) -> dict[str, Any]:
    about = [str(one.key) for one in check.samples.all() if one.report_id == report.pk]
    return {
        "key": str(report.key),
        "laboratory": report.laboratory,
        "number": report.number,
        "reported_on": report.reported_on.isoformat(),
        "name": report.name,
        "samples": about,
    }


def _beside(check: ConcentrateCheck, name: str) -> list[str]:
    told = [f"{limit} ({of})" for limit, of in limits_beside(check, name)]
    return [*told, *filter(None, [certificate_beside(check, name)])]


def _sample(sample: ConcentrateSample) -> dict[str, Any]:
    return {
        "key": str(sample.key),
        "label": sample.label,
        "point": sample.point,
        "point_label": sample.get_point_display(),
        "taken_at": _iso(sample.taken_at),
        "taken_by": sample.taken_by,
        "look": sample.look,
        "laboratory": sample.laboratory,
        "sent_on": shown(sample, "sent_on"),
        "consignment": sample.consignment,
        "received_on": shown(sample, "received_on"),
        "under_way": f"under way to {sample.laboratory} since {day(sample.sent_on)}"
        if sample.under_way
        else "",
        "withdrawn_reason": sample.withdrawn_reason,
        "values": [_value(value) for value in sample.values.all()],
    }


def _value(value: SampleValue) -> dict[str, Any]:
    return {
        "key": str(value.key),
        "property": value.name,
        "value": value.value_typed,
        "temperature": value.temperature_typed,
        "origin": value.origin,
        "method": value.method,
        "measured_on": value.measured_on.isoformat() if value.measured_on else "",
        "entered_at": _iso(value.entered_at),
        "entered_by": value.entered_by,
        "set_aside_reason": value.set_aside_reason,
        "set_aside_by": value.set_aside_by,
    }


def _iso(at: datetime) -> str:
    return at.isoformat()
