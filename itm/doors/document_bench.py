"""The benches of a document: bottles, volumes and readings."""

import uuid
from collections.abc import Mapping
from datetime import UTC, datetime

from itm.doors.document import Part
from itm.records.bench import shared_key
from itm.records.drafts import on_bench
from itm.records.models import Bottle, ProportioningTest
from itm.records.weighing import MASSES, VOLUMES

BENCH_TEXTS = ("instrument", "lot", "water_source", "glassware", "batch_volume_ml")
NOTED = (
    "notes", "system_water_source", "compensation", "bottles_were", "samples_kept", "standards_by",
    "density", "density_at", "density_error", "density_from",
)  # fmt: skip
SHARED = (
    Bottle.Role.WATER,
    Bottle.Role.WATER_AGAIN,
    Bottle.Role.SYSTEM_WATER,
    Bottle.Role.CONCENTRATE,
)
BENCH = ("name", *BENCH_TEXTS, *NOTED, *(role.value for role in SHARED), "standards")
STANDARD = ("target_percent", *VOLUMES, *MASSES, "readings")
READING = ("value", "temperature", "read_at", "set_aside")
FIRST = datetime.min.replace(tzinfo=UTC)
Readings = list[tuple[Part, uuid.UUID]]  # a reading, and the key of its bottle


def benches_by_name(day: Part) -> dict[str, Part]:
    benches: dict[str, Part] = {}
    for part in day.parts("benches"):
        part.only(BENCH)
        name = part.text("name")
        if not name:
            part.wrong("name", "missing", "Give each bench a name for the tests to refer to.")
        elif name in benches:
            part.wrong("name", "name_used", f"Another bench is called “{name[:40]}” too.")
        else:
            benches[name] = part
    return benches


def set_out(benches: Mapping[str, Part], rests_on: Mapping[str, ProportioningTest]) -> Readings:
    """Bottles and volumes; each bench through the first test that rests on it. Gives back the
    readings, which go in together with those of the samples."""
    readings: Readings = []
    for name, part in benches.items():
        test = rests_on.get(name)
        if test is not None:
            readings += _bottles(part, test)
        elif not part.walk.problems:
            part.wrong("name", "bench_unused", "No test of this document rests on this bench.")
    return readings


def _bottles(part: Part, test: ProportioningTest) -> Readings:
    of = {"test": test.key}
    part.do("set_out_bench", of, extra={"standards": "none"})
    if noted := tuple(name for name in NOTED if name in part.value):
        part.do("note_bench", of, put=noted)
    if Bottle.Role.SYSTEM_WATER in part.value:
        part.do("add_system_water", of)
    readings: Readings = []
    for one in part.parts("standards"):
        one.only(STANDARD)
        if one.do("add_standard", of, put=("target_percent",)) is None:
            continue
        bottle = one.key_of("add_standard")
        for verb, pair in (("set_volumes", VOLUMES), ("set_masses", MASSES)):
            if any(name in one.value for name in pair):
                one.do(verb, {"bottle": bottle}, put=pair)
        readings += [(reading, bottle) for reading in one.parts("readings")]
    for role in SHARED:
        if role.value in part.value:
            liquid = part.part(role.value)
            liquid.only(("readings",))
            bottle = shared_key(on_bench(test), role)
            readings += [(reading, bottle) for reading in liquid.parts("readings")]
    return readings


def read(readings: Readings) -> None:
    """In the order of the bench, over all bottles."""
    for part, bottle in sorted(readings, key=lambda pair: pair[0].instant("read_at") or FIRST):
        part.only(READING)
        made = part.do(
            "add_reading", {"bottle": bottle}, stamp="read_at", put=("value", "temperature")
        )
        if made is None or "set_aside" not in part.value:
            continue
        aside = part.part("set_aside")
        aside.only(("reason", "at"))
        key = part.key_of("add_reading")
        aside.do("set_aside", {"reading": key}, stamp="at", put=("reason",))
