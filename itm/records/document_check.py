"""The canonical form of a concentrate check, form number 3 of its own kind.

As in `document`: everything the report prints stands here by value, and a form is never changed.
Form 2 holds by what and on which day each value was measured, which form 1 did not know. Form 3
holds the digests of photos of its bottles.
"""

from typing import Any

from itm.records.facts import (
    amended,
    at_site,
    authorities,
    evaluated,
    handed_in,
    instant,
    moves,
    photos,
    tank_contents,
    written,
)
from itm.records.models import (
    ConcentrateCheck,
    ConcentrateSample,
    Evaluation,
    LaboratoryReport,
    SampleValue,
)
from itm.records.photographing import photos_of_check
from itm.records.rows import guarded_of_check, rows
from itm.registry.properties import PROPERTIES

FORM, KIND = 3, "concentrate check"


def document_of_check(check: ConcentrateCheck, evaluation: Evaluation) -> dict[str, Any]:
    """The form of a check as `loading.whole_check` gives it, with the evaluation it stands on."""
    tank = check.tank
    return {
        "form": FORM,
        "kind": KIND,
        "key": str(check.key),
        "amends": amended(check),
        "site": at_site(check.site),
        "authorities": authorities(check.site, check.checked_on),
        "tank": {
            "key": str(tank.key),
            "tag": tank.tag,
            "kind": tank.get_kind_display(),
            "capacity": tank.capacity_typed,
            "usable_volume": tank.usable_volume_typed,
            "feeds": [
                {"system": device.system.name, "proportioner": device.tag}
                for device in tank.proportioners.all()
                if device.retired_on is None or device.retired_on > check.checked_on
            ],
            **tank_contents(tank, check.checked_on),
        },
        "checked_by": check.organisation.name,
        "check": {
            "purpose": check.get_purpose_display(),
            "checked_on": written(check.checked_on),
            "circulated": check.circulated,
            "basis": check.basis,
            "criteria": check.criteria,
            "uncertainty": {
                "refractive_index": written(check.u_refractive_index),
                "density": written(check.u_density),
            },
            "notes": check.notes,
        },
        "samples": [_sample(sample) for sample in check.samples.all()],
        "reports": [_report(one) for one in check.laboratory_reports.all()],
        "evaluation": evaluated(evaluation),
        "handed_in": handed_in(check, check.organisation.name),
        "moves": moves(check),
        **photos(photos_of_check(check)),
        "rows": rows(guarded_of_check(check)),
    }


def _sample(sample: ConcentrateSample) -> dict[str, Any]:
    return {
        "key": str(sample.key),
        "label": sample.label,
        "point": sample.get_point_display(),
        "taken_at": instant(sample.taken_at),
        "taken_by": sample.taken_by,
        "look": sample.look,
        "laboratory": sample.laboratory,
        "sent_on": written(sample.sent_on),
        "consignment": sample.consignment,
        "received_on": written(sample.received_on),
        "report": str(sample.report.key) if sample.report else None,
        "withdrawn": sample.withdrawn_reason,
        "values": [_value(value) for value in sample.values.all()],
    }


def _value(value: SampleValue) -> dict[str, Any]:
    known = PROPERTIES[value.name]
    return {
        "key": str(value.key),
        "property": value.name,
        "words": known.words,
        "typed": value.value_typed,
        "value": written(value.value),
        "unit": known.unit,
        "temperature_c": value.temperature_typed,
        "origin": value.get_origin_display(),
        "method": value.method,
        "measured_on": written(value.measured_on),
        "entered_at": instant(value.entered_at),
        "entered_by": value.entered_by,
        "set_aside": {
            "reason": value.set_aside_reason,
            "by": value.set_aside_by,
            "at": instant(value.set_aside_at),
        }
        if value.set_aside_at is not None
        else None,
    }


def _report(report: LaboratoryReport) -> dict[str, Any]:
    return {
        "key": str(report.key),
        "laboratory": report.laboratory,
        "number": report.number,
        "reported_on": written(report.reported_on),
        "name": report.name,
        "content_type": report.content_type,
        "size": report.size,
        "sha256": report.sha256,
        "withdrawn": report.withdrawn_reason,
    }
