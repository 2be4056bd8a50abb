"""Two people at the same moment, on PostgreSQL: SQLite writes one transaction at a time."""

import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime

import pytest
from django.core import mail
from django.db import connection, connections

from calc.units import VOLUME
from itm.accounts.actor import system
from itm.actions.adopt import adopt
from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import record_inspection
from itm.core import outbox
from itm.core.errors import Conflict, Refused
from itm.core.outbox import Job
from itm.core.quantities import quantity
from itm.doors.entries import take
from itm.intake.models import Receipt
from itm.intake.once import once
from itm.notices import services as notices
from itm.records import bench as benches
from itm.records import chain, services
from itm.records.inspecting import Entry
from itm.records.models import Bottle, Reading, Seal, Visit
from itm.registry import movements, storing
from itm.registry.book import lines_of
from itm.registry.stored import store_book
from itm.schedule.models import Duty, Programme, Requirement
from itm.schedule.standing import differing
from itm.schedule.sweep import passed, sweep
from tests.deeds import Day, discharged, prepared, read, restored, signed
from tests.factories import SiteFactory, StoreMovementFactory
from tests.itm.schedule.many import many_duties

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _real_database(transactional_db):
    assert connection.vendor == "postgresql"


@pytest.fixture
def programme(transactional_db):
    """A flush empties also what migrations laid, so the rows are laid again."""
    from importlib import import_module

    from django.apps import apps

    if not Requirement.objects.exists():
        import_module("itm.schedule.migrations.0005_starting_programmes").load(apps, None)


def at_once(*deeds):
    def run(deed):
        try:
            return deed()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(deeds)) as pool:
        return [future.result() for future in [pool.submit(run, deed) for deed in deeds]]


def test_ten_repeats_at_once_under_one_key_do_the_work_once(scene):
    def plan():
        visit = services.plan_visit(
            actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15)
        )
        return {"visit": str(visit.key)}

    key, now = uuid.uuid4(), datetime(2026, 6, 1, 12, tzinfo=UTC)
    answers = at_once(
        *[
            lambda: once(
                actor=scene.contractor, key=key, what="plan", body={"on": "2026-06-15"}, do=plan,
                at=now,
            )
        ]
        * 10
    )  # fmt: skip
    assert Visit.objects.count() == Receipt.objects.count() == 1
    assert {answer.value["visit"] for answer in answers} == {str(Visit.objects.get().key)}
    assert sorted(answer.repeated for answer in answers) == [False] + [True] * 9


def test_ten_devices_that_send_one_sample_at_once_make_one_bottle(programme, scene):
    day = prepared(scene)
    run = day.test.runs.first()
    raw = {
        "key": str(uuid.uuid4()), "verb": "add_sample", "of": {"run": str(run.key)},
        "put": {"label": "D1"}, "at": day.now.isoformat(),
    }  # fmt: skip

    def send():
        return take(actor=day.actor, entries=[raw], device_now=day.now, at=day.now)[0].state

    states = at_once(*[send] * 10)
    assert sorted(states) == ["taken", *["taken_before"] * 9]
    assert str(Bottle.objects.get(role="sample").key) == raw["key"]


def test_two_phones_write_one_field_at_once_and_one_of_them_is_told(programme, scene):
    day = prepared(scene)
    run = day.test.runs.first()

    def write(level):
        raw = {
            "key": str(uuid.uuid4()), "verb": "note_run", "of": {"run": str(run.key)},
            "put": {"level_before": level}, "opened": {"level_before": ""},
            "at": day.now.isoformat(),
        }  # fmt: skip
        return take(actor=day.actor, entries=[raw], device_now=day.now, at=day.now)[0]

    first, second = at_once(lambda: write("900 L"), lambda: write("880 L"))
    assert sorted((first.state, second.state)) == ["crossed", "taken"]
    run.refresh_from_db()
    crossed = first if first.state == "crossed" else second
    assert crossed.now == {"level_before": run.level_before_typed}


def test_eight_hand_ins_with_one_key_are_one_record(programme, scene):
    day = read(restored(discharged(prepared(scene))), {"minimum": 3.2, "design": 3.4})
    once = uuid.uuid4()
    at_once(*[lambda: hand_in(actor=day.actor, key=day.test.key, at=day.now, once=once)] * 8)
    assert day.test.moves.filter(verb="hand_in").count() == 1
    assert day.test.evaluations.count() == 1


def test_two_signatures_at_one_site_follow_each_other_in_the_chain(programme, scene):
    days: list[Day] = []
    for year in (2024, 2025, 2026):
        day = read(
            restored(discharged(prepared(scene, on=date(year, 6, 15)))),
            {"minimum": 3.2, "design": 3.4},
        )
        hand_in(actor=day.actor, key=day.test.key, at=day.tick())
        days.append(day)
    at_once(*[lambda day=day: signed(day) for day in days])
    assert sorted(Seal.objects.values_list("number", flat=True)) == [1, 2, 3]
    assert list(chain.verify()) == []


def test_readings_of_two_phones_get_an_order_each(programme, scene):
    day = discharged(prepared(scene))
    benches.set_out(actor=day.actor, test=day.test)
    bottles = list(day.test.bench.bottles.all())

    def entry(bottle):
        return lambda: benches.add_reading(
            actor=day.actor, bottle=bottle, value_typed="1.33355", temperature_typed="",
            at=day.now,
        )  # fmt: skip

    at_once(*[entry(bottle) for bottle in bottles[:6]])
    order = list(Reading.objects.values_list("sequence", flat=True))
    assert sorted(order) == [1, 2, 3, 4, 5, 6]


def test_eight_workers_never_take_the_same_job(programme):
    for number in range(40):
        Job.objects.create(kind="none", payload={"number": number})

    def take():
        taken = []
        while job := outbox.claim():
            taken.append(job.pk)
        return taken

    taken = [pk for some in at_once(*[take] * 8) for pk in some]
    assert len(taken) == len(set(taken)) == 40


def test_eight_sweeps_at_once_move_each_standing_once(programme, scene):
    site = SiteFactory(owner=scene.owner.organisation)
    many_duties([scene.site, site], 400, begun=date(2026, 1, 1))
    now = datetime(2026, 9, 1, 12, tzinfo=UTC)
    changed = sum(rows.count() for _, rows in passed(now))
    moved = at_once(*[lambda: sweep(now)] * 8)
    assert changed > 50
    assert sum(moved) == changed
    assert list(differing(Duty.objects.all(), system(now.date(), at=now))) == []


def test_two_draw_offs_never_take_more_than_there_is(scene):
    """The tank holds 950 L; two people note 600 L each at the same moment."""

    def draw():
        try:
            return movements.move(
                actor=scene.owner, tank=scene.tank, today=date(2026, 6, 15), kind="draw_off",
                moved_on=date(2026, 6, 1), volume=quantity("600", "L", VOLUME), reason="test",
            )  # fmt: skip
        except Refused as refused:
            return refused.code

    made = at_once(draw, draw)
    assert sorted(str(one) for one in made if isinstance(one, str)) == ["more_than_there"]
    assert lines_of(scene.tank)[-1].holds.volume == pytest.approx(0.35)


def test_two_uses_never_take_more_than_a_store_holds(scene):
    """The store holds 400 L; two people note 300 L each at the same moment."""
    store = StoreMovementFactory(store__site=scene.site).store

    def use():
        try:
            return storing.note(
                actor=scene.owner, store=store, today=date(2026, 6, 15), kind="use",
                moved_on=date(2026, 6, 1), volume=quantity("300", "L", VOLUME), reason="drill",
            )  # fmt: skip
        except Refused as refused:
            return refused.code

    made = at_once(use, use)
    assert [one for one in made if isinstance(one, str)] == ["more_than_in_store"]
    assert [round(1000 * line.left) for line in store_book(store.movements.all())] == [400, 100]


def test_eight_clocks_promise_one_summary_and_eight_workers_send_one(programme, scene):
    now = datetime(2026, 6, 15, 12, tzinfo=UTC)
    notices.choose(actor=scene.owner, weekday=0, lead_days=30, time_zone="UTC", at=now)
    at_once(*[lambda: notices.promise_summaries(now)] * 8)
    job = Job.objects.get(kind="send_summary")

    def worker() -> bool:
        try:
            notices.send_summary(**job.payload)
        except Conflict:  # another holds the claim: the job waits in its row
            return False
        return True

    assert any(at_once(*[worker] * 8))
    assert len(mail.outbox) == 1


def test_two_rounds_at_once_are_two_records_and_one_next_cycle(programme, scene):
    """The second waits for the duties of the first; nothing that it holds is lost."""
    adopt(
        actor=scene.owner, programme=Programme.objects.get(code="us-nfpa25-foam-water"),
        starts_on=date(2026, 5, 20), site=scene.site,
    )  # fmt: skip
    duty = Duty.objects.get(requirement__code="N25-04")
    answers = {"level": "95", "valves": "yes", "gauges": "yes", "gauge_readings": "7.5 bar"}

    def deed(by):
        return lambda: record_inspection(
            actor=by, site=scene.site, done_on=date(2026, 6, 15), once=uuid.uuid4(),
            at=datetime(2026, 6, 15, 12, tzinfo=UTC), entries=[Entry(duty, answers)],
        )  # fmt: skip

    made = at_once(deed(scene.owner), deed(scene.contractor), deed(scene.owner))
    assert len({row.pk for row in made}) == 3
    open_ones = Duty.objects.filter(requirement__code="N25-04", done_on=None, withdrawn_on=None)
    assert open_ones.count() == 1
