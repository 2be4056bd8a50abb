"""What the canonical form of a direct test holds in the place of a bench, all of it by value."""

from datetime import date
from typing import Any

from calc.direct_form import WEIGHED
from itm.core.durations import in_words
from itm.records.facts import proof_of, written
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest
from itm.registry.models import Instrument


def direct(test: ProportioningTest) -> dict[str, Any]:
    """Meters, vessel or scale, and of each flow point what was read, as it was typed."""
    setup, on = test.direct, test.tested_on
    return {
        "method": test.method,
        "method_in_words": test.get_method_display(),
        "liquid": setup.get_liquid_display() if setup.liquid else "",
        "liquid_name": setup.liquid_name,
        "concentrate_meter": _meter(
            setup.concentrate_meter, setup.concentrate_fitted, setup.concentrate_accuracy_typed, on
        ),
        "meter_in": setup.get_meter_in_display() if setup.meter_in else "",
        "second_meter": _meter(
            setup.second_meter, setup.second_fitted, setup.second_accuracy_typed, on
        ),
        "vessel": _vessel(setup),
        "weighing": _weighing(test, setup),
        "runs": [_run(run, run.direct) for run in test.runs.all()],
    }


def _meter(meter: Instrument | None, fitted: str, accuracy: str, on: date) -> dict[str, Any] | None:
    if meter is None and not fitted and not accuracy:
        return None
    own = (
        {
            "key": str(meter.key),
            "name": meter.name,
            "serial_number": meter.serial_number,
            "unit": meter.unit,
            "resolution": written(meter.resolution),
            **({"division": written(meter.division)} if meter.interpolated else {}),
            **proof_of(meter, on),
        }
        if meter is not None
        else None
    )
    return {"instrument": own, "fitted": fitted, "accuracy": accuracy}


def _vessel(setup: DirectSetup) -> dict[str, Any] | None:
    if not setup.shape:
        return None
    return {
        "shape": setup.get_shape_display(),
        "heads": setup.get_heads_display() if setup.heads else "",
        "diameter": setup.diameter_typed,
        "length": setup.length_typed,
        "width": setup.width_typed,
        "height": setup.height_typed,
        "level_step": setup.level_step_typed,
    }


def _weighing(test: ProportioningTest, setup: DirectSetup) -> dict[str, Any] | None:
    if test.method != WEIGHED:
        return None
    return {
        "scale": setup.scale,
        "step": setup.scale_step_typed,
        "error": setup.scale_error_typed,
        "density": setup.density_typed,
        "density_error": setup.density_error_typed,
        "density_from": setup.get_density_from_display() if setup.density_from else "",
    }


def _run(run: FlowRun, row: DirectRun) -> dict[str, Any]:
    return {
        "flow_point": run.flow_point.name,
        "duration": row.duration_typed,
        "duration_in_words": in_words(row.duration) if row.duration else "",
        "concentrate": {
            "source": row.get_concentrate_source_display() if row.concentrate_source else "",
            "read": row.get_concentrate_read_display() if row.concentrate_read else "",
            "flow": row.concentrate_flow_typed,
            "start": row.concentrate_start_typed,
            "end": row.concentrate_end_typed,
        },
        "second": {
            "source": row.get_second_source_display() if row.second_source else "",
            "read": row.get_second_read_display(),
            "flow": row.second_flow_typed,
            "start": row.second_start_typed,
            "end": row.second_end_typed,
        },
        "level_before": row.level_before_typed,
        "level_after": row.level_after_typed,
        "mass_before": row.mass_before_typed,
        "mass_after": row.mass_after_typed,
        "baseline": _baseline(row),
    }


def _baseline(row: DirectRun) -> dict[str, Any] | None:
    if row.foam_record is None:
        return None
    return {
        "record": str(row.foam_record),
        "name": row.foam_name,
        "tested_on": written(row.foam_on),
        "beside_on": written(row.beside_on),
        "beside_source": row.beside_source,
        "liquid_flow": row.beside_liquid_flow_typed,
        "second_flow": row.beside_second_flow_typed,
    }
