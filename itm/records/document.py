"""The canonical form of a proportioning test, form number 5.

Everything the report prints stands here by value, so that renaming a system changes no sealed
report. Keys, never primary keys; numbers that people typed as they typed them; instants in UTC.
A form is never changed, only followed by the next, and every old one stays readable: a key that
came later is read with `get`, and without it the reader says what the old form said.

Form 2 holds the criterion in words (title, edition, how sure) and the probability of not being
lean, which form 1 did not know; and of each run its own band and the acceptance test behind it,
where the criterion asks for that. Form 3 holds the outlets behind a flow that was read by pitot,
device clocks that were off, the digests of photos, what was asked of the bench beside its readings,
and the circumstances that speak for caution. Form 4 names the method; of a direct one it holds
what was measured (`document_direct.py`) in the place of the bench. Form 5 holds besides what was
weighed, and the density that made a volume of it: in a direct test, and of standards by mass.
"""

from typing import Any

from itm.records.circumstances import circumstances
from itm.records.direct_remarks import density_remarks
from itm.records.document_direct import direct
from itm.records.evaluate import supply
from itm.records.facts import (
    amended,
    at_site,
    authorities,
    evaluated,
    handed_in,
    instant,
    moves,
    photos,
    proof_of,
    tank_contents,
    written,
)
from itm.records.models import Bench, Bottle, Evaluation, ProportioningTest, Reading, Visit
from itm.records.photographing import photos_of
from itm.records.remarks import lot_remarks
from itm.records.resemblances import resemblances
from itm.records.rows import guarded, rows
from itm.records.weighing import is_weighed, mass_percent, percent_as_made, weighed_remarks
from itm.registry.contents import contents

FORM, KIND = 5, "proportioning test"


def document(test: ProportioningTest, evaluation: Evaluation) -> dict[str, Any]:
    """The form of a test as `loading.whole` gives it, with the evaluation it stands on."""
    return {
        "form": FORM,
        "kind": KIND,
        "key": str(test.key),
        "amends": amended(test),
        **_place(test),
        "visit": visit_of(test.visit),
        "test": _test(test),
        "runs": _runs(test),
        "flush": [
            {"text": s.text, "done_at": instant(s.done_at), "done_by": s.done_by}
            for s in test.flush_steps.all()
        ],
        "restoration": _restoration(test),
        "bench": _bench(test, test.bench) if test.bench else None,
        **({"direct": direct(test) | _lot_remarks(test)} if test.is_direct else {}),
        "evaluation": evaluated(evaluation),
        "supply": supply(test, evaluation.result),
        "circumstances": [one._asdict() for one in (*circumstances(test), *resemblances(test))],
        "handed_in": handed_in(test, test.visit.contractor.name),
        "moves": moves(test),
        **photos(photos_of(test)),
        "rows": rows(guarded(test)),
    }


def _place(test: ProportioningTest) -> dict[str, Any]:
    site, device = test.site, test.proportioner
    system, tank = device.system, test.drawn_from
    return {
        "site": at_site(site),
        "authorities": authorities(site, test.tested_on),
        "system": {
            "key": str(system.key),
            "name": system.name,
            "kind": system.get_kind_display(),
            "hazard": system.hazard,
            "fuel": system.get_fuel_display(),
            "required_minutes": system.required_minutes,
        },
        "proportioner": {
            "key": str(device.key),
            "tag": device.tag,
            "kind": device.get_kind_display(),
            "nominal_percent": written(device.nominal_percent),
            "lowest_listed_flow": device.lowest_listed_flow_typed,
            "highest_listed_flow": device.highest_listed_flow_typed,
        },
        "tank": {
            "key": str(tank.key),
            "tag": tank.tag,
            "kind": tank.get_kind_display(),
            "usable_volume": tank.usable_volume_typed,
            **tank_contents(tank, test.tested_on),
        },
    }


def visit_of(visit: Visit) -> dict[str, Any]:
    return {
        "key": str(visit.key),
        "contractor": visit.contractor.name,
        "planned_on": written(visit.planned_on),
        "crew": visit.crew,
        "effluent_plan": visit.effluent_plan,
        "ambient_c": visit.ambient_c_typed,
        "weather": visit.weather,
        "coordinator": visit.coordinator,
        "impairment_reason": visit.impairment_reason,
        "started_at": instant(visit.started_at),
        "started_by": visit.started_by,
        "restored_at": instant(visit.restored_at),
        "restored_by": visit.restored_by,
        "notices": [
            {
                "told": n.told,
                "by": n.told_by,
                "how": n.how,
                "reference": n.reference,
                "told_at": instant(n.told_at),
            }
            for n in visit.notices.all()
        ],
        **_device_clocks(visit),
    }


def _device_clocks(visit: Visit) -> dict[str, Any]:
    """Only where a clock was wrong, so that every other record stays as it was."""
    off = [
        {"person": c.person, "ahead_s": c.ahead_s, "received_at": instant(c.received_at)}
        for c in visit.device_clocks.all()
    ]
    return {"device_clocks": off} if off else {}


def _test(test: ProportioningTest) -> dict[str, Any]:
    return {
        "method": test.method,
        "purpose": test.get_purpose_display(),
        "phase": test.get_phase_display(),
        "adjusted": test.adjusted,
        "tested_on": written(test.tested_on),
        "notes": test.notes,
        "nominal_percent": written(test.nominal_percent),
        "criterion": test.criterion,
        "criterion_title": test.criterion_title,
        "criterion_source": test.criterion_source,
        "criterion_edition": test.criterion_edition,
        "criterion_confidence": test.criterion_confidence,
        "band": {"lower": written(test.band_lower), "upper": written(test.band_upper)},
        "verdict_probability": test.verdict_probability,
        "lean_probability": test.lean_probability,
        "include_water": test.include_water,
        "samples_wanted": test.samples_wanted,
    }


def _runs(test: ProportioningTest) -> list[dict[str, Any]]:
    return [
        {
            "flow_point": run.flow_point.name,
            "flow": run.flow_point.flow_typed,
            "inlet_pressure": run.inlet_pressure_typed,
            "solution_flow": run.solution_flow_typed,
            "flow_source": run.get_flow_source_display() if run.flow_source else "",
            "outlets": run.outlets,
            "band": {"lower": written(run.band_lower), "upper": written(run.band_upper)}
            if run.band_lower is not None
            else None,
            "baseline": {"percent": written(run.baseline_percent), "source": run.baseline_source}
            if run.baseline_percent is not None
            else None,
            "foam_seen_at": instant(run.foam_seen_at),
            "level_before": run.level_before_typed,
            "level_after": run.level_after_typed,
            "samples": [b.label for b in run.bottles.all()],
        }
        for run in test.runs.all()
    ]


def _restoration(test: ProportioningTest) -> list[dict[str, Any]]:
    return [
        {
            "text": line.text,
            "outcome": line.get_outcome_display(),
            "ended_at": instant(line.ended_at),
            "ended_by": line.ended_by,
            "reason": line.reason,
            "handed_to": line.handed_to,
            "handed_at": instant(line.handed_at),
        }
        for line in test.visit.restoration_lines.all()
        if line.proportioner_id == test.proportioner_id
    ]


def _bench(test: ProportioningTest, bench: Bench) -> dict[str, Any]:
    meter = bench.instrument
    samples = [(run.flow_point.name, b) for run in test.runs.all() for b in run.bottles.all()]
    bottles = [(None, b) for b in bench.bottles.all()] + samples
    return {
        "key": str(bench.key),
        "method": meter.method,
        "instrument": {
            "key": str(meter.key),
            "name": meter.name,
            "serial_number": meter.serial_number,
            "unit": meter.unit,
            "resolution": written(meter.resolution),
            **({"division": written(meter.division)} if meter.interpolated else {}),
            "repeatability": written(meter.repeatability),
            "temperature_compensated": bench.compensates,
            **proof_of(meter, test.tested_on),
        },
        "lot": str(bench.lot) if bench.lot else "",
        "water_source": bench.water_source,
        "glassware": bench.glassware,
        "batch_volume_ml": written(bench.batch_volume_ml),
        "notes": bench.notes,
        **_said_of_bench(bench),
        **_lot_remarks(test),
        "bottles": [
            _bottle(bottle, bench, point) for point, bottle in bottles if _was_asked(bottle)
        ],
    }


def _said_of_bench(bench: Bench) -> dict[str, str]:
    """What was asked beside the readings, where somebody answered."""
    said = {
        "system_water_source": bench.system_water_source,
        "compensation": bench.compensation and bench.get_compensation_display(),
        "bottles_were": bench.bottles_were and bench.get_bottles_were_display(),
        "samples_kept": bench.samples_kept and bench.get_samples_kept_display(),
        "standards_by": bench.standards_by and bench.get_standards_by_display(),
        "density": bench.density_typed,
        "density_at": bench.density_at_typed,
        "density_error": bench.density_error_typed,
        "density_from": bench.density_from and bench.get_density_from_display(),
    }
    return {name: text for name, text in said.items() if text}


def _lot_remarks(test: ProportioningTest) -> dict[str, list[str]]:
    """Only where there is something to say, so that every other record stays as it was."""
    tank, lot = test.drawn_from, test.bench.lot if test.bench else None
    held = contents(tank, tank.movements.all(), test.tested_on)
    said = lot_remarks(test.nominal_percent, tank, held, lot, test.tested_on)
    if test.is_direct:
        said += density_remarks(test.direct, held)
    if test.bench:
        said += weighed_remarks(test.bench, held)
    return {"remarks": said} if said else {}


def _was_asked(bottle: Bottle) -> bool:
    """The water once more stands ready on every bench; where nobody read it, it says nothing."""
    return bottle.role != Bottle.Role.WATER_AGAIN or bool(bottle.readings.all())


def _bottle(bottle: Bottle, bench: Bench, flow_point: str | None) -> dict[str, Any]:
    return {
        "key": str(bottle.key),
        "role": bottle.get_role_display(),
        "label": bottle.label,
        "flow_point": flow_point,
        "concentrate_ml": bottle.concentrate_ml_typed,
        "water_ml": bottle.water_ml_typed,
        **_weighed(bottle),
        "percent": percent_as_made(bottle, bench),
        "taken_at": instant(bottle.taken_at),
        "readings": [_reading(r) for r in bottle.readings.all()],
    }


def _weighed(bottle: Bottle) -> dict[str, Any]:
    """Only of a standard that was weighed, so that every other record stays as it was."""
    if not is_weighed(bottle):
        return {}
    return {
        "concentrate_g": bottle.concentrate_g_typed,
        "water_g": bottle.water_g_typed,
        "mass_percent": mass_percent(bottle),
    }


def _reading(reading: Reading) -> dict[str, Any]:
    aside = reading.set_aside_at is not None
    return {
        "key": str(reading.key),
        "sequence": reading.sequence,
        "value": reading.value_typed,
        "temperature_c": reading.temperature_typed,
        "read_at": instant(reading.read_at),
        "read_by": reading.read_by,
        "set_aside": {
            "reason": reading.set_aside_reason,
            "by": reading.set_aside_by,
            "at": instant(reading.set_aside_at),
        }
        if aside
        else None,
    }
