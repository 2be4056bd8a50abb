"""Whatever people do in whatever order: no deficiency vanishes, and none closes by itself.

Drawn sequences of deeds on three test days, a task that is inspected, what a person notes, and
things that leave and come back. What a record in force shows at a thing in use is open.
"""

from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from itm.accounts.actor import system
from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import correct_inspection, record_inspection
from itm.actions.retire import retire, take_back
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.errors import Conflict, Refused
from itm.findings import deciding
from itm.findings.catching_up import catch_up
from itm.findings.models import Deficiency
from itm.records import bench as benches
from itm.records.inspecting import Entry
from itm.records.models import InspectionLine, ProportioningTest
from tests.deeds import LOOKED, display, look_duty, tested

DAYS = (date(2026, 6, 15), date(2026, 6, 20), date(2026, 6, 25))
BEGIN = datetime(2026, 7, 1, 9, tzinfo=UTC)
PERCENT = {"lean": 2.0, "right": 3.4, "rich": 4.6}
# What a row says of its beginning, for good.
FIRST = ("cause", "spot", "source", "site_id", "found_on", "opened_at", "opened_by",
         "organisation_id", "test_id", "inspection_line_id")  # fmt: skip
END = ("outcome", "closed_at", "closed_by", "closed_reason", "severity", "fixed_by_test_id",
       "fixed_by_inspection_line_id", "repair_id")  # fmt: skip


@dataclass
class World:
    scene: Any
    tests: list[ProportioningTest]
    now: datetime = BEGIN
    seen: dict[int, tuple[dict[str, Any], list[tuple[Any, ...]]]] = field(default_factory=dict)
    ended_out_of_use: set[int] = field(default_factory=set)

    def tick(self) -> datetime:
        self.now += timedelta(minutes=30)
        return self.now


# Deeds --------------------------------------------------------------------------------------------


def hands_in(world: World, number: int, what: str) -> None:
    test, crew = world.tests[number], world.scene.contractor
    for bottle in test.runs.get(flow_point__name="minimum").bottles.all():
        for reading in bottle.readings.filter(set_aside_at=None):
            reading.set_aside_at, reading.set_aside_by = world.now, "x"
            reading.set_aside_reason = "read again"
            reading.save(by=crew)
        benches.add_reading(
            actor=crew, bottle=bottle, temperature_typed="20.0", at=world.tick(),
            value_typed=display(PERCENT[what], test.bench.instrument.resolution),
        )  # fmt: skip
    hand_in(actor=crew, key=test.key, at=world.tick())


def sends_back(world: World, number: int, _: str) -> None:
    send_back(
        actor=world.scene.owner, key=world.tests[number].key, reason="look again", at=world.tick()
    )


def signs(world: World, number: int, _: str) -> None:
    sign(
        actor=world.scene.contractor, key=world.tests[number].key, at=world.tick(), name="Somebody",
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip


def amends(world: World, number: int, _: str) -> None:
    crew = world.scene.contractor
    test = world.tests[number]
    world.tests[number] = amend(actor=crew, key=test.key, reason="swapped", at=world.tick())


def gives_up(world: World, number: int, _: str) -> None:
    test = world.tests[number]
    abandon(actor=world.scene.contractor, key=test.key, reason="broken", at=world.tick())
    if test.amends is not None:
        world.tests[number] = test.amends


def looks(world: World, number: int, what: str) -> None:
    answers = {**LOOKED, "fit": "yes" if what == "right" else "no"}
    record_inspection(
        actor=world.scene.contractor, site=world.scene.site, done_on=DAYS[number], once=uuid4(),
        at=world.tick(), entries=[Entry(look_duty(world.scene), answers)],
    )  # fmt: skip


def corrects_a_look(world: World, number: int, what: str) -> None:
    lines = list(InspectionLine.objects.filter(corrected_by=None).order_by("pk"))
    if not lines:
        return
    entered = {**LOOKED, "fit": "yes" if what == "right" else "no"}
    correct_inspection(
        actor=world.scene.contractor, line=lines[number % len(lines)], at=world.tick(),
        once=uuid4(), why="wrong tank", entered=entered if what != "rich" else {},
        possible=what != "rich",
    )  # fmt: skip


def notes(world: World, number: int, _: str) -> None:
    deciding.note_by_hand(
        actor=world.scene.owner, site=world.scene.site, thing=world.scene.system, severity=3,
        words="The sign at the panel is gone", found_on=DAYS[number], at=world.tick(),
    )  # fmt: skip


def one_of(world: World, number: int) -> Deficiency | None:
    rows = list(Deficiency.objects.filter(closed_at=None).order_by("pk"))
    return rows[number % len(rows)] if rows else None


def lowers(world: World, number: int, _: str) -> None:
    if row := one_of(world, number):
        deciding.classify(
            actor=world.scene.owner, deficiency=row, severity=3, reason="close by", at=world.tick()
        )


def repairs(world: World, number: int, _: str) -> None:
    if row := one_of(world, number):
        at = datetime.combine(DAYS[number], datetime.min.time(), UTC) + timedelta(hours=20)
        refused = pytest.raises(Refused, match="after that")
        with refused if DAYS[number] < row.found_on else nullcontext():
            deciding.note_repair(
                actor=world.scene.owner, deficiency=row, part="seat", who="The porter",
                repaired_at=at, at=world.tick(),
            )  # fmt: skip


def closes(world: World, number: int, _: str) -> None:
    """Everything that can be closed; the rest refuses."""
    for row in Deficiency.objects.filter(closed_at=None).order_by("pk"):
        for one in deciding.against(row):
            try:
                done = deciding.close(
                    actor=world.scene.owner, deficiency=row, step=one.step, at=world.tick()
                )
            except Refused:
                assert not one.ready
                continue
            assert one.ready
            nothing_later_shows_it(done)
            break


def ends(world: World, number: int, _: str) -> None:
    if row := one_of(world, number):
        deciding.end(actor=world.scene.owner, deficiency=row, reason="a slip", at=world.tick())
        if row.thing.retired_on is not None:
            world.ended_out_of_use.add(row.pk)


def thing(world: World, number: int) -> Any:
    row = (world.scene.proportioner, world.scene.tank, world.scene.system)[number]
    return type(row).objects.get(pk=row.pk)


def retires(world: World, number: int, _: str) -> None:
    row, today = thing(world, number), world.tick().date()
    if row.retired_on is None:
        retire(actor=world.scene.owner, row=row, on=today, today=today)


def takes_back(world: World, number: int, _: str) -> None:
    take_back(actor=world.scene.owner, row=thing(world, number), at=world.tick())


DEEDS = {
    deed.__name__: deed
    for deed in (
        hands_in, sends_back, signs, amends, gives_up, looks, corrects_a_look, notes, lowers,
        repairs, closes, ends, retires, takes_back,
    )
}  # fmt: skip
BY_A_PERSON = {"closes", "ends"}


# What holds after each ----------------------------------------------------------------------------


def standing() -> list[ProportioningTest]:
    """Handed in or sealed, and no sealed record corrects it."""
    tests = ProportioningTest.objects.filter(state__in=["handed_in", "sealed"])
    return list(tests.exclude(amendments__state="sealed"))


def wrong_at(test: ProportioningTest) -> set[tuple[str, str]]:
    """By the plain value against its band, and not by what the engine called it."""
    result = test.evaluations.latest("pk").result
    out = set()
    for point in result["flow_points"]:
        band = point.get("band") or result["band"]
        if point["percent"] < band["lower"]:
            out.add(("lean", point["name"]))
        if point["percent"] > band["upper"]:
            out.add(("rich", point["name"]))
    return out


def nothing_later_shows_it(row: Deficiency) -> None:
    """No record in force from after the fix has the same fault."""
    fix = row.fixed_by_test
    if fix is None:
        return
    when = (fix.tested_on, fix.pk)
    for test in standing():
        if (test.tested_on, test.pk) >= when:
            assert (row.cause, row.spot) not in wrong_at(test)


def check(world: World, deed: str) -> None:
    rows = {row.pk: row for row in Deficiency.objects.all()}
    for pk, (was, life) in world.seen.items():
        assert pk in rows, "a deficiency has vanished"
        now, lines = told(rows[pk])
        assert [now[name] for name in FIRST] == [was[name] for name in FIRST]
        assert lines[: len(life)] == life, "a line of its life is gone or another"
        if was["closed_at"] is not None:
            assert (now, lines) == (was, life), "it changed once it was closed"
        elif now["closed_at"] is not None:
            assert deed in BY_A_PERSON
            closed_by_somebody(rows[pk])
    world.seen = {pk: told(row) for pk, row in rows.items()}
    for test in standing():
        for cause, spot in wrong_at(test):
            assert Deficiency.objects.filter(cause=cause, spot=spot, steps__test=test).exists()
    for line in InspectionLine.objects.filter(outcome="fault", corrected_by=None):
        assert Deficiency.objects.filter(steps__inspection_line=line).exists()
    open_where_a_test_shows_it()
    open_where_a_look_shows_it()
    open_again_what_a_person_noted(world)


def open_where_a_test_shows_it() -> None:
    """Of a device in use, unless a later signed test gives another value there."""
    tests = [one for one in standing() if one.proportioner.retired_on is None]
    wrong = {one.pk: wrong_at(one) for one in tests}
    for test in tests:
        later = [
            wrong[one.pk] for one in tests
            if one.state == "sealed" and (one.tested_on, one.pk) > (test.tested_on, test.pk)
        ]  # fmt: skip
        for cause, spot in wrong[test.pk]:
            if all((cause, spot) in there for there in later):
                rows = Deficiency.objects.filter(cause=cause, spot=spot, closed_at=None)
                assert rows.filter(proportioner=test.proportioner).exists(), "shown, not open"


def open_where_a_look_shows_it() -> None:
    """The same of a thing that was looked at, unless it was repaired since."""
    lines = list(
        InspectionLine.objects.filter(corrected_by=None, tank__retired_on=None)
        .select_related("inspection").order_by("inspection__done_on", "pk")
    )  # fmt: skip
    for number, line in enumerate(lines):
        rows = Deficiency.objects.filter(cause="inspection", tank=line.tank)
        right = any(one.outcome == "in_order" for one in lines[number + 1 :])
        repaired = rows.filter(outcome="repaired", steps__inspection_line=line).exists()
        if line.outcome == "fault" and not right and not repaired:
            assert rows.filter(closed_at=None).exists(), "shown, not open"


def open_again_what_a_person_noted(world: World) -> None:
    for row in Deficiency.objects.filter(pk__in=world.ended_out_of_use, cause="by_hand"):
        if row.thing.retired_on is None:
            assert Deficiency.objects.filter(words=row.words, closed_at=None).exists()
            world.ended_out_of_use.remove(row.pk)


def told(row: Deficiency) -> tuple[dict[str, Any], list[tuple[Any, ...]]]:
    columns = {name: getattr(row, name) for name in (*FIRST, *END)}
    return columns, list(
        row.steps.order_by("pk").values_list("pk", "verb", "at", "person", "words")
    )


def closed_by_somebody(row: Deficiency) -> None:
    last = row.steps.order_by("pk").last()
    assert last is not None
    assert (last.verb, last.at, last.person) == ("closed", row.closed_at, row.closed_by)
    assert row.closed_by
    assert row.fix is not None or row.repair is not None or row.closed_reason


@pytest.fixture
def world(scene) -> World:
    fine = {"minimum": 3.4, "design": 3.4}
    return World(scene, [tested(scene, fine, on=on, until="draft") for on in DAYS])


deeds = st.tuples(
    st.sampled_from([*DEEDS, "hands_in", "hands_in", "signs", "signs", "closes"]),
    st.integers(0, 2), st.sampled_from(list(PERCENT)),
)  # fmt: skip
# Orders that went wrong once, or would in a world where a proposal is believed.
LATE_FIX = [("hands_in", 0, "lean"), ("hands_in", 2, "lean"), ("hands_in", 1, "right"),
            ("signs", 1, ""), ("closes", 0, "")]  # fmt: skip
LATE_FAULT = [("hands_in", 1, "right"), ("signs", 1, ""), ("hands_in", 0, "lean"),
              ("closes", 0, ""), ("hands_in", 2, "lean"), ("closes", 0, "")]  # fmt: skip
READ_AGAIN = [("hands_in", 0, "rich"), ("hands_in", 1, "right"), ("sends_back", 1, ""),
              ("hands_in", 1, "rich"), ("signs", 1, ""), ("closes", 0, "")]  # fmt: skip
FIX_CORRECTED = [("hands_in", 0, "lean"), ("hands_in", 1, "right"), ("signs", 1, ""),
                 ("closes", 0, ""), ("amends", 1, ""), ("hands_in", 1, "rich"), ("signs", 1, ""),
                 ("ends", 0, "")]  # fmt: skip
REPAIRED_BEFORE = [("looks", 0, "lean"), ("repairs", 0, ""), ("looks", 1, "lean"),
                   ("closes", 0, ""), ("corrects_a_look", 1, "right"), ("ends", 0, "")]  # fmt: skip
BACK_UNCHANGED = [("hands_in", 0, "lean"), ("sends_back", 0, ""), ("hands_in", 0, "lean"),
                  ("signs", 0, ""), ("ends", 0, "")]  # fmt: skip
CORRECTION_GIVEN_UP = [("hands_in", 0, "lean"), ("signs", 0, ""), ("amends", 0, ""),
                       ("hands_in", 0, "right"), ("ends", 0, ""), ("gives_up", 0, "")]  # fmt: skip
OUT_AND_BACK = [("hands_in", 0, "lean"), ("looks", 0, "lean"), ("notes", 0, ""),
                ("retires", 0, ""), ("retires", 1, ""), ("retires", 2, ""), ("ends", 0, ""),
                ("ends", 0, ""), ("ends", 0, ""), ("takes_back", 2, ""), ("takes_back", 1, ""),
                ("takes_back", 0, "")]  # fmt: skip


@settings(
    max_examples=5, deadline=None, derandomize=True, database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@example(LATE_FIX)
@example(LATE_FAULT)
@example(READ_AGAIN)
@example(FIX_CORRECTED)
@example(REPAIRED_BEFORE)
@example(BACK_UNCHANGED)
@example(CORRECTION_GIVEN_UP)
@example(OUT_AND_BACK)
@given(st.lists(deeds, min_size=6, max_size=12))
def test_no_deficiency_vanishes_or_closes_by_itself(world, drawn):
    begun = transaction.savepoint()
    mine = World(world.scene, [ProportioningTest.objects.get(pk=one.pk) for one in world.tests])
    for name, number, what in drawn:
        before = transaction.savepoint()
        mine.tests = [ProportioningTest.objects.get(pk=one.pk) for one in mine.tests]
        try:
            DEEDS[name](mine, number, what)
        except (Refused, Conflict):
            transaction.savepoint_rollback(before)
        check(mine, name)
    # And who looks through it all finds nothing that was forgotten.
    now = mine.tick()
    by = system(now.date(), at=now)
    assert catch_up(actor=by, site=mine.scene.site, at=now).opened == []
    transaction.savepoint_rollback(begun)
