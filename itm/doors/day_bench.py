"""The benches of a day: instrument, limits of entry, bottles that stand and that may be set out."""

from datetime import date
from decimal import Decimal
from typing import Any

from calc.series import correction, water_density_series
from calc.standards import recipe
from itm.accounts.actor import Actor
from itm.doors.asked import asked
from itm.intake.fields import (
    MOST_TEMPERATURE_DECIMALS,
    TEMPERATURE,
    Field,
    decimals_of_step,
    reading_field,
)
from itm.intake.take import doubts
from itm.intake.volumes import volume_doubt
from itm.records.bench import Planned, shared_key, to_set_out
from itm.records.bench_forms import BenchForm
from itm.records.bench_sheet import Stand, shared_closed, stand_of
from itm.records.merge import shown
from itm.records.models import Bench, Bottle, ProportioningTest
from itm.records.remarks import remarks_on
from itm.records.weighing import MASSES, VOLUMES, known_densities, recipe_in_grams
from itm.registry.models import Instrument


def bench_of(actor: Actor, bench: Bench, tests: list[ProportioningTest]) -> dict[str, Any]:
    """`tests` are those of the visit that the reader sees, with the bench among theirs."""
    own = [test for test in tests if test.bench_id == bench.pk]
    meter = bench.instrument
    stands = [stand_of(bottle, bench) for bottle in bench.bottles.all()]
    in_use = [stand for stand in stands if not stand.bottle.withdrawn_reason]
    doubtful = doubts(in_use, bench)
    first = own[0]
    first.bench = bench  # the same row, with its bottles fetched
    return {
        "key": str(bench.key),
        **instrument_part(meter),
        "remarks": remarks_on(first),
        "lot": str(bench.lot or ""),
        "tank": bench.tank.tag,
        "water_source": bench.water_source,
        "glassware": bench.glassware,
        **{name: shown(bench, name) for name in ASKED},
        "water_density": water_density_series(),
        "known_densities": known_densities(actor, bench, first.tested_on),
        "asked": asked(BenchForm(row=bench), ASKED),
        "notes": bench.notes,
        "batch_volume_ml": f"{bench.batch_volume_ml.normalize():f}",
        "closed": shared_closed(own),
        "first_device": str(min(own, key=lambda test: test.pk).proportioner.key),
        "certificate_needed": first.site.certificate_needed,
        "system_water": str(shared_key(bench, Bottle.Role.SYSTEM_WATER)),
        "bottles": [_standing(stand, bench, doubtful) for stand in stands]
        + [_planned(planned, bench) for planned in to_set_out(first)],
    }


ASKED = (
    "system_water_source", "compensation", "bottles_were", "samples_kept", "standards_by",
    "density", "density_at", "density_error", "density_from",
)  # fmt: skip


def instrument_part(meter: Instrument) -> dict[str, Any]:
    """What of a bench follows from its meter. `certificates` as `intake/complete.py` asks for them,
    the latest last."""
    known = [one for one in meter.certificates.all() if not one.withdrawn_because]
    return {
        "instrument": _instrument(meter),
        "certificates": [
            {
                "issued_on": one.issued_on.isoformat() if one.issued_on else "",
                "due_on": one.due_on.isoformat() if one.due_on else "",
                "words": str(one),
            }
            for one in sorted(known, key=lambda one: (one.issued_on or date.min, one.pk))
        ],
        "fields": {"value": _value_field(meter), "temperature": _temperature_field()},
        "correction": correction(meter.method),
    }


def _instrument(meter: Instrument) -> dict[str, Any]:
    low, high = meter.compensates_from_c, meter.compensates_to_c
    return {
        "name": meter.name,
        "serial_number": meter.serial_number,
        "method": meter.method,
        "unit": meter.unit,
        "resolution": f"{meter.resolution.normalize():f}",
        "steps_in_words": meter.steps_in_words,
        "width": meter.width,
        "repeatability": f"{meter.repeatability.normalize():f}" if meter.repeatability else None,
        "temperature_compensated": meter.temperature_compensated,
        "compensates_from_c": None if low is None else f"{low.normalize():f}",
        "compensates_to_c": None if high is None else f"{high.normalize():f}",
    }


def _value_field(meter: Instrument) -> dict[str, Any]:
    field = reading_field(meter)
    return {
        **_field(field),
        "example": field.example,
        "decimals": decimals_of_step(meter.resolution),
        "step": f"{meter.resolution.normalize():f}",
        "steps_in_words": meter.steps_in_words,
        "interpolated": meter.interpolated,
    }


def _temperature_field() -> dict[str, Any]:
    return {**_field(TEMPERATURE), "decimals": MOST_TEMPERATURE_DECIMALS}


def _field(field: Field) -> dict[str, Any]:
    return {
        "name": field.name,
        "unit": field.unit,
        "lowest": f"{field.lowest:f}",
        "highest": f"{field.highest:f}",
        "lowest_itself": field.lowest_itself,
        "range": field.range,
    }


def _standing(stand: Stand, bench: Bench, doubtful: dict[str, str]) -> dict[str, Any]:
    bottle = stand.bottle
    return {
        **_planned(
            Planned(
                bottle.key, bottle.role, bottle.label, bottle.position, bottle.target_percent
            ),
            bench,
        ),
        "run": str(bottle.run.key) if bottle.run else None,
        "set_out": True,
        **{name: getattr(bottle, f"{name}_typed") for name in (*VOLUMES, *MASSES)},
        "percent": stand.percent,
        "question": volume_doubt(stand, bench.batch_volume_ml),
        "taken_at": bottle.taken_at.isoformat() if bottle.taken_at else None,
        "withdrawn_reason": bottle.withdrawn_reason,
        "readings": [
            {
                "key": str(r.key), "sequence": r.sequence, "value": r.value_typed,
                "temperature": r.temperature_typed, "read_at": r.read_at.isoformat(),
                "read_by": r.read_by, "set_aside_reason": r.set_aside_reason,
                "set_aside_by": r.set_aside_by, "question": doubtful.get(str(r.key), ""),
            }
            for r in stand.readings
        ],
    }  # fmt: skip


def _planned(planned: Planned, bench: Bench) -> dict[str, Any]:
    """A bottle that does not stand yet has its key already, so that readings can hang on it."""
    target = planned.target_percent
    return {
        "key": str(planned.key),
        "role": planned.role,
        "label": planned.label,
        "run": None,
        "set_out": False,
        "target_percent": f"{target.normalize():f}" if target else None,
        "recipe": _recipe(bench.batch_volume_ml, target) if target else None,
        "grams": _grams(bench, target) if target else None,
        **dict.fromkeys((*VOLUMES, *MASSES), ""),
        "percent": None,
        "question": "",
        "taken_at": None,
        "withdrawn_reason": "",
        "readings": [],
    }


def _recipe(batch_ml: Decimal, percent: Decimal) -> dict[str, str]:
    made = recipe(float(batch_ml), float(percent))
    return {
        "concentrate": f"{round(made.concentrate, 3):g}", "water": f"{round(made.water, 3):g}",
    }  # fmt: skip


def _grams(bench: Bench, percent: Decimal) -> dict[str, str] | None:
    made = recipe_in_grams(bench, percent)
    if made is None:
        return None
    return {"concentrate": f"{made.concentrate:.2f}", "water": f"{made.water:.2f}"}
