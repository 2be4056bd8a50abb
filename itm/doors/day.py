"""A whole test day as one object: what a device needs to work through it with no signal."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import calc
from calc.canonical import digest
from calc.units import PRESSURE
from itm.accounts.actor import Actor
from itm.doors import day_effluent, day_inspecting
from itm.doors.asked import UNITS, asked
from itm.doors.day_bench import bench_of
from itm.doors.day_checks import beginning, checks_of, properties
from itm.doors.day_direct import asked_directly, direct_part
from itm.doors.day_points import points_left
from itm.records import check_queries, queries, states
from itm.records.bench_forms import USUAL_REASONS
from itm.records.bench_sheet import closed
from itm.records.cautions import (
    BENCH,
    DISCHARGE,
    EFFLUENT,
    INSPECT,
    MEASURE,
    PREPARE,
    RESTORE,
    STOP,
    TANK,
)
from itm.records.drafts import writes_in
from itm.records.forms import TestEditForm
from itm.records.models import (
    ConcentrateSample,
    FlowRun,
    Photo,
    ProportioningTest,
    RestorationLine,
    Visit,
)
from itm.records.progress import reopens, samples_of
from itm.records.remarks import flow_remarks, run_remarks
from itm.registry.models import Proportioner

FORM = 1  # of this object; keys are added, never renamed
USUALLY_TOLD = ("owner", "fire service", "monitoring company", "authority", "insurer", "neighbours")


def days_of(actor: Actor) -> list[dict[str, Any]]:
    """The visits that the actor's crew has still something to do in, the next first."""
    return [
        {
            "key": str(visit.key),
            "site": visit.site.name,
            "owner": visit.site.owner.name,
            "planned_on": visit.planned_on.isoformat(),
            "standing": _standing(visit),
            "tests": visit.test_count,
        }
        for visit in queries.open_visits(actor)
    ]


def _standing(visit: Visit) -> str:
    if visit.started_at is None:
        return "planned"
    return "out of service" if visit.impaired else "back in service"


def day_of(actor: Actor, key: UUID, *, at: datetime | None = None) -> dict[str, Any]:
    """Visit, tests, runs, steps, lines, bottles and readings, and what there is to know of them.

    `digest` is that of everything but itself and `made_at`: the same day has the same digest.
    `frozen` is that of the engine and of the limits, which no later default moves.
    Raises NotFound.
    """
    visit = queries.visit(actor, key)
    tests = queries.visit_tests(actor, visit)
    benches = queries.benches_in(actor, visit)
    direct = [test for test in tests if test.is_direct]
    left = points_left(tests)
    checks = check_queries.checks_beside(actor, visit)
    shown = [*queries.photos(actor, visit), *queries.photos_of_checks(actor, checks)]
    photos = [_photo(photo) for photo in shown]
    day = {
        "form": FORM,
        "engine_version": calc.__version__,
        "frozen": digest(_frozen(tests)),
        "may": _may(actor, visit),
        "cautions": {
            "prepare": PREPARE, "discharge": DISCHARGE, "stop": STOP, "restore": RESTORE,
            "bench": BENCH, "tank": TANK, "measure": MEASURE, "effluent": EFFLUENT,
            "inspect": INSPECT,
        },
        "usual": {
            "told": list(USUALLY_TOLD),
            "set_aside": list(USUAL_REASONS),
            "withdraw": ["Stamped by mistake"],
        },
        "units": {
            "pressure": dict(PRESSURE), **{kind: dict(known) for kind, known in UNITS.items()}
        },
        "flow_sources": [list(choice) for choice in FlowRun.FlowSource.choices],
        "visit": _visit(visit, tests),
        "notices": [
            {
                "key": str(n.key), "told": n.told, "told_by": n.told_by, "how": n.how,
                "reference": n.reference, "told_at": iso(n.told_at),
            }
            for n in visit.notices.all()
        ],
        "tests": [_test(test, left) for test in tests if not test.is_direct],
        # Apart, because a device that reads benches would look for theirs.
        "direct_tests": [_test(test, left) | direct_part(test) for test in direct],
        "direct_asked": asked_directly(actor, direct),
        "restoration": _restoration(visit),
        "benches": [bench_of(actor, bench, tests) for bench in benches],
        "photos": photos,
        "effluent": day_effluent.lines(actor, visit),
        "effluent_asked": day_effluent.asked_of_kinds(),
        "inspection": day_inspecting.inspection_of(actor, visit),
        "checks": checks_of(actor, checks),
        "checking": beginning(actor, visit),
        "properties": properties(),
        "points": [list(choice) for choice in ConcentrateSample.Point.choices],
    }  # fmt: skip
    return {**day, "digest": digest(day), "made_at": iso(at)}


def _photo(photo: Photo) -> dict[str, Any]:
    shown = {
        "run": photo.run, "line": photo.line, "reading": photo.reading, "sample": photo.sample,
    }  # fmt: skip
    of = {name: str(row.key) for name, row in shown.items() if row is not None}
    day = {"visit": str(photo.visit.key)} if photo.visit is not None else {}
    return {
        "key": str(photo.key),
        "of": of or day,
        "file": str(photo.attachment.key),
        "taken_at": iso(photo.taken_at),
        "taken_by": photo.taken_by,
    }


def iso(at: datetime | date | None) -> str | None:
    return None if at is None else at.isoformat()


def _frozen(tests: list[ProportioningTest]) -> dict[str, Any]:
    return {
        "engine_version": calc.__version__,
        "tests": {
            str(test.key): [
                plain(test.nominal_percent), test.criterion, plain(test.band_lower),
                plain(test.band_upper), test.verdict_probability, test.lean_probability,
                [[str(r.key), plain(r.band_lower), plain(r.band_upper)] for r in test.runs.all()],
            ]
            for test in tests
        },
    }  # fmt: skip


def plain(number: Any) -> str | None:
    return None if number is None else f"{number.normalize():f}"


def _may(actor: Actor, visit: Visit) -> dict[str, bool]:
    """By right; whether it is still possible says `closed` of each thing."""
    crew = writes_in(actor, visit)
    return {"write": crew, "hand_in": crew and actor.role in states.CREW_VERBS["hand_in"]}


def _visit(visit: Visit, tests: list[ProportioningTest]) -> dict[str, Any]:
    site = visit.site
    fixed = any(test.state in ("handed_in", "sealed") for test in tests)
    return {
        "key": str(visit.key),
        "planned_on": iso(visit.planned_on),
        "site": {
            "key": str(site.key), "name": site.name, "address": site.address,
            "owner": site.owner.name, "time_zone": site.time_zone,
        },
        "contractor": visit.contractor.name,
        "crew": visit.crew,
        "effluent_plan": visit.effluent_plan,
        "ambient_c": visit.ambient_c_typed,
        "weather": visit.weather,
        "coordinator": visit.coordinator,
        "impairment_reason": visit.impairment_reason,
        "started_at": iso(visit.started_at),
        "started_by": visit.started_by,
        "restored_at": iso(visit.restored_at),
        "restored_by": visit.restored_by,
        "closed": "A test of this visit is handed in or sealed with these facts."
        if fixed
        else "",
    }  # fmt: skip


def _test(test: ProportioningTest, left: dict[int, list[dict[str, Any]]]) -> dict[str, Any]:
    device = test.proportioner
    return {
        "key": str(test.key),
        "device": str(device.key),
        "tag": device.tag,
        "system": device.system.name,
        "kind": device.get_kind_display(),
        "purpose": test.purpose,
        "purpose_label": test.get_purpose_display(),
        "phase": test.phase,
        "phase_label": test.get_phase_display(),
        "adjusted": test.adjusted,
        "notes": test.notes,
        "asked": asked(TestEditForm(row=test), _open_of(test)),
        "state": test.state,
        "state_label": test.get_state_display(),
        "closed": closed(test),
        "nominal_percent": plain(test.nominal_percent),
        "band": {"lower": plain(test.band_lower), "upper": plain(test.band_upper)},
        "criterion": test.criterion_title or test.criterion,
        "include_water": test.include_water,
        "correct_temperatures": test.correct_temperatures,
        "listed": listed(device),
        "method": test.method,
        "bench": str(test.bench.key) if test.bench else None,
        "runs": [_run(run) for run in test.runs.all()],
        "points_left": left.get(test.pk, []),
        "flush": [
            {"key": str(s.key), "text": s.text, "done_at": iso(s.done_at), "done_by": s.done_by}
            for s in test.flush_steps.all()
        ],
    }  # fmt: skip


def listed(device: Proportioner) -> dict[str, Any]:
    return {
        "lowest": device.lowest_listed_flow, "lowest_typed": device.lowest_listed_flow_typed,
        "highest": device.highest_listed_flow,
        "highest_typed": device.highest_listed_flow_typed,
    }  # fmt: skip


def _open_of(test: ProportioningTest) -> tuple[str, ...]:
    """What of a prepared test is written on the spot."""
    return asked_in(test.phase)


def asked_in(phase: str) -> tuple[str, ...]:
    return ("adjusted", "notes") if phase == ProportioningTest.Phase.AS_LEFT else ("notes",)


def _run(run: FlowRun) -> dict[str, Any]:
    own = run.band_lower is not None
    samples = samples_of(run)
    return {
        "key": str(run.key),
        "name": run.flow_point.name,
        "flow": run.flow_point.flow,
        "flow_typed": run.flow_point.flow_typed,
        "band": {"lower": plain(run.band_lower), "upper": plain(run.band_upper)} if own else None,
        "inlet_pressure": run.inlet_pressure_typed,
        "solution_flow": run.solution_flow_typed,
        "flow_source": run.flow_source,
        "outlets": run.outlets,
        "capacity": run.test.drawn_from.capacity,
        "capacity_typed": run.test.drawn_from.capacity_typed,
        "level_before": run.level_before_typed,
        "level_after": run.level_after_typed,
        "foam_seen_at": iso(run.foam_seen_at),
        "remarks": run_remarks(run, samples) if samples else flow_remarks(run),
    }


def _restoration(visit: Visit) -> list[dict[str, Any]]:
    fixed = queries.handed_in_devices(visit)
    return [_line(line, fixed) for line in visit.restoration_lines.all()]


def _line(line: RestorationLine, fixed: set[int]) -> dict[str, Any]:
    return {
        "key": str(line.key),
        "device": str(line.proportioner.key),
        "tag": line.proportioner.tag,
        "text": line.text,
        "outcome": line.outcome,
        "outcome_label": line.get_outcome_display(),
        "ended_at": iso(line.ended_at),
        "ended_by": line.ended_by,
        "reason": line.reason,
        "handed_to": line.handed_to,
        "handed_at": iso(line.handed_at),
        "follows": str(line.follows.key) if line.follows else None,
        "followed": hasattr(line, "followed_by"),
        "reopens": reopens(line, fixed),
    }
