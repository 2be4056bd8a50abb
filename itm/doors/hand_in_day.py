"""A whole test day as one document: all of it, or nothing with every problem at its place.

The document is what a program keeps of a day; each part of it becomes the entry that a device would
have sent, so nothing is judged here that is not judged there.
"""

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.doors.document import DocumentRefused, Part, Walk
from itm.doors.document_bench import BENCH_TEXTS, Readings, benches_by_name, read, set_out
from itm.doors.document_check import taken
from itm.doors.verbs import VERBS
from itm.intake.check import Problem
from itm.intake.complete import problems as left_to_do
from itm.intake.once import Answer, once
from itm.records import check_queries, queries
from itm.records.forms import BENCH
from itm.records.models import FlowRun, ProportioningTest

FORM = 1
DAY = ("form", "about", "visit", "notices", "start", "benches", "tests", "effluent", "checks")
VISIT = ("key", "site", "planned_on", "crew", "effluent_plan", "ambient_c", "weather")
NOTICE = ("told", "told_at", "how", "reference")
START = ("at", "reason", "coordinator")
DIRECT = ("method", "liquid", "liquid_name")
TEST = (
    "proportioner", "purpose", "phase", "adjusted", "notes", "correct_temperatures",
    "other_percent_because", "bench",
    *DIRECT, "direct", "runs", "flush", "restoration", "hand_in",
)  # fmt: skip
RUN_TEXTS = (
    "inlet_pressure", "solution_flow", "flow_source", "outlets", "level_before", "level_after",
)  # fmt: skip
RUN = ("flow_point", *RUN_TEXTS, "direct", "foam_seen_at", "samples")
EFFLUENT = tuple(VERBS["note_effluent"].names)
LINE = ("text", "outcome", "ended_at", "reason", "handed_to", "handed_at")


def hand_in_day(*, actor: Actor, document: Any, key: uuid.UUID, at: datetime) -> Answer:
    """Take a day and hand its tests in, in one transaction, under the key of who asks.

    The answer names the visit, and each test and check with its outcome. An exact repeat is
    answered as the first time. Raises Forbidden; DocumentRefused; Refused other_body, bad_body.
    """

    def do() -> dict[str, Any]:
        with transaction.atomic():
            walk = Walk(actor, key, at)
            with walk.whole():
                made = _take(walk, Part(walk, document, ""))
                if walk.problems:
                    raise DocumentRefused("day_refused", walk.problems)
        return made

    return once(actor=actor, key=key, what="day", body=document, do=do, at=at)


def _take(walk: Walk, day: Part) -> dict[str, Any]:
    day.only(DAY)
    if day.value and day.value.get("form", FORM) != FORM:
        day.wrong("form", "unknown_form", f"This server reads form {FORM} of a day.")
    visit = _visit(walk, day)
    if visit is None:
        return {}
    for notice in day.parts("notices"):
        notice.only(NOTICE)
        notice.do("add_notice", {"visit": visit}, stamp="told_at", put=("told", "how", "reference"))
    start = day.part("start")
    start.only(START)
    parts = day.parts("tests")
    checks = day.parts("checks")
    if not parts and not checks:
        day.wrong("tests", "no_tests", "A day holds at least one test or check.")
    benches = benches_by_name(day)
    prepared = _prepare(walk, parts, benches, visit, start)
    if start.value:
        start.do("start_test_day", {"visit": visit}, stamp="at", put=("reason", "coordinator"))
    readings: Readings = []
    for part, test in prepared:
        readings += _work(part, test)
    for part in day.parts("effluent"):
        part.only((*EFFLUENT, "at"))
        part.do("note_effluent", {"visit": visit}, stamp="at", put=EFFLUENT)
    rests_on = {part.text("bench"): test for part, test in reversed(prepared) if test.bench}
    read([*set_out(benches, rests_on), *readings])
    made: dict[str, Any] = {
        "visit": str(visit),
        "tests": [_hand_in(walk, part, test) for part, test in prepared],
    }
    if checks:
        made["checks"] = [_check(walk, part, visit) for part in checks]
    return made


def _check(walk: Walk, part: Part, visit: uuid.UUID) -> dict[str, Any]:
    """Of a tank of the visit's own site: another's belongs to another day."""
    site = queries.visit(walk.actor, visit).site
    tanks = {str(tank.key) for tank in check_queries.tanks_at(walk.actor, site)}
    if part.text("tank").lower() not in tanks:
        part.wrong("tank", "no_tank", f"No tank in use at {site.name} has this key.")
        return {}
    return taken(walk, part)


def _visit(walk: Walk, day: Part) -> uuid.UUID | None:
    """A visit that was planned, by its key, or a new one."""
    part = day.part("visit")
    part.only(VISIT)
    if not part.value:
        day.wrong("visit", "missing", "Say in “visit” where and on which day this was.")
        return None
    noted = ["crew", "effluent_plan", "ambient_c", "weather"]
    if part.text("key"):
        visit = part.key("key")
    else:
        made = part.do("plan_visit", {}, put=("site", "planned_on", "crew", "effluent_plan"))
        visit = uuid.UUID(made["visit"]) if made else None
        noted = ["ambient_c", "weather"]
    if visit is not None and any(name in part.value for name in noted):
        part.do("note_visit", {"visit": visit}, put=noted)
    return visit


def _prepare(
    walk: Walk, parts: list[Part], benches: Mapping[str, Part], visit: uuid.UUID, start: Part
) -> list[tuple[Part, ProportioningTest]]:
    """Each test with its bench: opened by the first that names it, shared by the others."""
    prepared = []
    opened: dict[str, str] = {}
    for part in parts:
        part.only(TEST)
        if part.text("method") not in ("", BENCH):
            made = _prepare_direct(walk, part, visit, start)
            if made is not None:
                prepared.append((part, queries.test(walk.actor, uuid.UUID(made["test"]))))
            continue
        name = part.text("bench")
        bench = benches.get(name)
        if bench is None:
            part.wrong(
                "bench", "no_bench", f"“{name[:40]}” is none of the benches of this document."
            )
            continue
        points = _points(walk, part, visit)
        if points is None:
            continue
        put: dict[str, Any] = {"flow_points": points} if points else {}
        if name in opened:
            put["bench"] = opened[name]
        else:
            put |= bench.texts(BENCH_TEXTS)
        made = part.do(
            "prepare_test", {"visit": visit}, extra=put, at=start.instant("at"),
            put=("proportioner", "purpose", "phase", "adjusted", "notes", "correct_temperatures",
                 "other_percent_because"),
            beside=bench, named={"flow_points": "runs", "bench": "bench"},
        )  # fmt: skip
        if made is None:
            continue
        opened[name] = made["bench"]
        prepared.append((part, queries.test(walk.actor, uuid.UUID(made["test"]))))
    return prepared


def _points(walk: Walk, part: Part, visit: uuid.UUID) -> list[str] | None:
    """The flow points to run, by their keys; nothing where one is none, which is told at it. Of a
    device that is not there `prepare_test` tells."""
    site = queries.visit(walk.actor, visit).site
    devices = queries.proportioners_at(walk.actor, site)
    device = next((d for d in devices if str(d.key) == part.text("proportioner").lower()), None)
    runs = part.parts("runs")
    if device is not None:
        known = {str(point.key): point.name for point in queries.flow_points_of(device)}
        strange = [run for run in runs if run.text("flow_point").lower() not in known]
        for run in strange:
            run.wrong(
                "flow_point", "no_flow_point",
                f"{device.tag} has no flow point of this key in use; it has "
                f"{', '.join(f'{name} {key}' for key, name in known.items()) or 'none'}.",
            )  # fmt: skip
        if strange:
            return None
    return [run.text("flow_point") for run in runs]


def _prepare_direct(
    walk: Walk, part: Part, visit: uuid.UUID, start: Part
) -> Mapping[str, Any] | None:
    """A direct method has no bench, so naming one is a slip."""
    points = _points(walk, part, visit)
    if points is None:
        return None
    if "bench" in part.value:
        part.wrong("bench", "no_bench", "A test by a direct method has no bench; leave it out.")
    return part.do(
        "prepare_test", {"visit": visit}, extra={"flow_points": points} if points else {},
        at=start.instant("at"), named={"flow_points": "runs"},
        put=("proportioner", "purpose", "phase", "adjusted", "notes", *DIRECT),
    )  # fmt: skip


def _work(part: Part, test: ProportioningTest) -> Readings:
    """Discharge, stop and restore. Gives back what was read of the samples."""
    readings: Readings = []
    runs = {str(run.flow_point.key): run for run in test.runs.all()}
    setup = part.part("direct")
    if setup.value:
        setup.only(VERBS["note_setup"].names)
        setup.do("note_setup", {"test": test.key}, put=VERBS["note_setup"].names)
    for one in part.parts("runs"):
        one.only(RUN)
        run = runs.get(one.text("flow_point").lower())
        if run is not None:
            readings += _run(one, run)
    steps = list(test.flush_steps.all())
    stamps = part.parts("flush")
    if len(stamps) > len(steps):
        part.wrong("flush", "too_many", f"There are {len(steps)} steps of stop and flush.")
    for stamp, step in zip(stamps, steps, strict=False):
        stamp.only(("text", "done_at"))
        if stamp.text("text") not in ("", step.text):
            stamp.wrong("text", "other_step", f"The next step is “{step.text}”.")
            break
        stamp.do("flush_done", {"step": step.key}, stamp="done_at")
    _restore(part, test)
    return readings


def _run(part: Part, run: FlowRun) -> Readings:
    if any(name in part.value for name in RUN_TEXTS):
        part.do("note_run", {"run": run.key}, put=RUN_TEXTS)
    if part.text("foam_seen_at"):
        part.do("foam_seen", {"run": run.key}, stamp="foam_seen_at")
    measured = part.part("direct")
    if measured.value:
        measured.only(VERBS["note_measured"].names)
        measured.do("note_measured", {"run": run.key}, put=VERBS["note_measured"].names)
    readings: Readings = []
    for sample in part.parts("samples"):
        sample.only(("label", "taken_at", "readings"))
        made = sample.do("add_sample", {"run": run.key}, stamp="taken_at", put=("label",))
        if made is not None:
            bottle = sample.key_of("add_sample")
            readings += [(reading, bottle) for reading in sample.parts("readings")]
    return readings


def _restore(part: Part, test: ProportioningTest) -> None:
    """Lines go by their text, because the list is laid from the register when it is prepared."""
    rows = test.visit.restoration_lines.filter(proportioner=test.proportioner_id)
    open_lines = [line for line in rows if not line.outcome]
    for one in part.parts("restoration"):
        one.only(LINE)
        line = next((row for row in open_lines if row.text == one.text("text").strip()), None)
        if line is None:
            left = "; ".join(row.text for row in open_lines) or "none"
            one.wrong("text", "no_line", f"No open line of this list reads so. Open: {left}.")
            continue
        open_lines.remove(line)
        wanted = ("outcome", "reason", "handed_to", "handed_at")
        one.do(
            "end_line", {"line": line.key}, stamp="ended_at",
            put=wanted if one.text("outcome") == "left_out" else ("outcome",),
        )  # fmt: skip


def _hand_in(walk: Walk, part: Part, test: ProportioningTest) -> dict[str, Any]:
    if part.value.get("hand_in", True) is not True or walk.problems:
        return {"test": str(test.key), "state": "draft"}
    if left := left_to_do(test):
        walk.problems += [
            Problem(f"{part.pointer}{_PLACES.get(one.place, '')}", one.code, one.sentence)
            for one in left
        ]
        return {"test": str(test.key), "state": "draft"}
    done = part.do("hand_in", {"test": test.key})
    return {"test": str(test.key), **(done or {})}


# Where in the document a step of the day is told.
_PLACES = {
    "discharge": "/runs",
    "flush": "/flush",
    "restoring": "/restoration",
    "bench": "/bench",
    "measure": "/direct",
}
