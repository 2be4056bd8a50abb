"""The bench: what may be written, until when, and that no reading is ever changed."""

import uuid
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError

from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.history import Change
from itm.records import bench as services
from itm.records import pouring
from itm.records.merge import Crossed
from itm.records.models import Bench, Bottle, ProportioningTest, Reading
from tests.conftest import Scene
from tests.factories import OrganisationFactory, actor_of
from tests.itm.benches import AT, draft, read, worked


def close(scene: Scene, test: ProportioningTest, state: str) -> None:
    test.state, test.handed_in_at = state, AT
    test.limits, test.certainty = "in band", "settled"
    test.sealed_at = AT if state == "sealed" else None
    test.save(by=scene.contractor)


def test_setting_out_gives_water_concentrate_and_standards_around_nominal(scene: Scene) -> None:
    test = draft(scene)
    made = services.set_out(actor=scene.contractor, test=test)
    roles = ["concentrate", *["standard"] * 3, "water", "water_again"]
    assert sorted(b.role for b in made) == roles
    # One point below nominal, nominal, one above: NFPA 11 and 412 annex methods (from memory).
    assert [b.target_percent for b in made if b.role == "standard"] == [2, 3, 4]


def test_setting_out_twice_adds_nothing(scene: Scene) -> None:
    test = draft(scene)
    services.set_out(actor=scene.contractor, test=test)
    assert services.set_out(actor=scene.contractor, test=test) == []
    assert test.bench.bottles.exclude(role="sample").count() == 6


def test_water_of_the_system_is_one_bottle_however_often_it_is_asked_for(scene: Scene) -> None:
    test = draft(scene)
    first = services.add_system_water(actor=scene.contractor, bench=test.bench)
    assert services.add_system_water(actor=scene.contractor, bench=test.bench) == first
    assert test.bench.bottles.filter(role="system_water").count() == 1
    with pytest.raises(Forbidden):
        services.add_system_water(actor=scene.owner, bench=test.bench)


def test_another_standard_of_the_same_percent_is_a_bottle_of_its_own(scene: Scene) -> None:
    test = draft(scene)
    services.set_out(actor=scene.contractor, test=test)
    fourth = services.add_standard(
        actor=scene.contractor, bench=test.bench, target_percent=Decimal(3)
    )
    assert fourth.label == "S4"


def test_a_standard_keeps_the_label_on_its_glass_and_no_two_share_one(scene: Scene) -> None:
    test = draft(scene)
    services.set_out(actor=scene.contractor, test=test)
    add = {"actor": scene.contractor, "bench": test.bench, "target_percent": Decimal(6)}
    assert services.add_standard(**add, label=" S7 ").label == "S7"
    with pytest.raises(Refused) as refusal:
        services.add_standard(**add, label="S7")
    assert (refusal.value.code, refusal.value.place) == ("label_used", "label")
    assert "Write S5 on yours" in str(refusal.value)
    assert test.bench.bottles.filter(label="S7").count() == 1


@pytest.mark.parametrize("percent", ["0", "-1", "100.1"])
def test_standard_that_cannot_be_made_is_refused(scene: Scene, percent: str) -> None:
    with pytest.raises(Refused) as refusal:
        services.add_standard(
            actor=scene.contractor, bench=draft(scene).bench, target_percent=Decimal(percent)
        )
    assert refusal.value.code == "out_of_range"


def test_volumes_are_kept_as_typed_beside_their_value(scene: Scene) -> None:
    bottle = services.add_standard(
        actor=scene.contractor, bench=draft(scene).bench, target_percent=Decimal(3)
    )
    pouring.set_volumes(
        actor=scene.contractor, bottle=bottle, concentrate_ml_typed="6,10", water_ml_typed="193.9"
    )
    bottle.refresh_from_db()
    assert bottle.concentrate_ml_typed == "6,10"
    assert (bottle.concentrate_ml, bottle.water_ml) == (Decimal("6.1"), Decimal("193.9"))


@pytest.mark.parametrize(
    ("concentrate", "water", "code", "place"),
    [
        ("6", "", "missing_volume", "water_ml"),
        ("", "194", "missing_volume", "concentrate_ml"),
        ("six", "194", "not_a_number", "concentrate_ml"),
        ("-6", "194", "out_of_range", "concentrate_ml"),
        ("6", "194000", "out_of_range", "water_ml"),
        ("6.0001", "194", "too_fine", "concentrate_ml"),
        ("0", "0", "nothing_mixed", "concentrate_ml"),
    ],
)
def test_volumes_that_cannot_be_are_refused(
    scene: Scene, concentrate: str, water: str, code: str, place: str
) -> None:
    bottle = services.add_standard(
        actor=scene.contractor, bench=draft(scene).bench, target_percent=Decimal(3)
    )
    with pytest.raises(Refused) as refusal:
        pouring.set_volumes(
            actor=scene.contractor, bottle=bottle, concentrate_ml_typed=concentrate,
            water_ml_typed=water,
        )  # fmt: skip
    assert (refusal.value.code, refusal.value.place) == (code, place)
    bottle.refresh_from_db()
    assert bottle.concentrate_ml is None


def test_volumes_taken_back_leave_the_standard_without_percent(scene: Scene) -> None:
    test = worked(scene)
    bottle = test.bench.bottles.get(label="S1")
    pouring.set_volumes(
        actor=scene.contractor, bottle=bottle, concentrate_ml_typed="", water_ml_typed=" "
    )
    bottle.refresh_from_db()
    assert (bottle.concentrate_ml, bottle.concentrate_ml_typed) == (None, "")


def test_volumes_crossed_by_another_device_are_not_overwritten(scene: Scene) -> None:
    bottle = worked(scene).bench.bottles.get(label="S1")
    with pytest.raises(Conflict) as crossed:
        pouring.set_volumes(
            actor=scene.contractor, bottle=bottle, concentrate_ml_typed="4.2",
            water_ml_typed="195.8", opened=("", ""),
        )  # fmt: skip
    assert "4 mL" in crossed.value.sentence
    bottle.refresh_from_db()
    assert bottle.concentrate_ml == 4


def test_volumes_left_as_they_were_do_not_undo_another_device(scene: Scene) -> None:
    bottle = worked(scene).bench.bottles.get(label="S1")
    pouring.set_volumes(
        actor=scene.contractor, bottle=bottle, concentrate_ml_typed="", water_ml_typed="",
        opened=("", ""),
    )  # fmt: skip
    bottle.refresh_from_db()
    assert bottle.concentrate_ml_typed == "4"


def test_readings_are_counted_over_the_whole_bench_and_kept_as_typed(scene: Scene) -> None:
    test = draft(scene)
    services.set_out(actor=scene.contractor, test=test)
    water, first = (test.bench.bottles.get(label=label) for label in ("water", "S1"))
    typed = ["1.3330", "1,3336", "1.33300"]
    for bottle, value in zip((water, first, water), typed, strict=True):
        read(scene, bottle, value, "20,4")
    rows = Reading.objects.filter(bottle__bench=test.bench).order_by("sequence")
    assert [(r.sequence, r.bottle.label) for r in rows] == [(1, "water"), (2, "S1"), (3, "water")]
    assert [r.value_typed for r in rows] == typed
    assert rows[1].value == Decimal("1.3336")
    assert rows[1].temperature_c == Decimal("20.4")
    assert rows[1].read_by == scene.contractor.person


def test_same_key_saves_one_reading_and_other_typing_under_it_is_a_conflict(scene: Scene) -> None:
    bottle = draft(scene).bench.bottles.get(label="M1")
    key = uuid.uuid4()

    def save(value: str) -> Reading:
        return services.add_reading(
            actor=scene.contractor, bottle=bottle, value_typed=value, temperature_typed="20",
            at=AT, key=key,
        )  # fmt: skip

    assert save("1.33390").pk == save("1.33390").pk
    with pytest.raises(Conflict):
        save("1.33930")
    assert [r.value_typed for r in bottle.readings.all()] == ["1.33390"]


def test_reading_set_aside_stays_with_its_reason_and_can_come_back(scene: Scene) -> None:
    reading = read(scene, draft(scene).bench.bottles.get(label="M1"), "1.33390")
    services.set_aside(actor=scene.contractor, reading=reading, reason=" bubble ", at=AT)
    reading.refresh_from_db()
    assert (reading.set_aside_reason, reading.set_aside_by) == ("bubble", scene.contractor.person)
    with pytest.raises(Crossed):  # never dropped in silence, see tests/doors
        services.set_aside(actor=scene.contractor, reading=reading, reason="another", at=AT)
    services.set_aside(actor=scene.contractor, reading=reading, reason="bubble", at=AT)
    reading.refresh_from_db()
    assert reading.set_aside_reason == "bubble"
    services.take_back_aside(actor=scene.contractor, reading=reading)
    reading.refresh_from_db()
    assert reading.set_aside_at is None
    verbs = Change.objects.filter(object_key=reading.key).values_list("verb", flat=True)
    assert list(verbs) == ["created", "set_aside", "taken_back"]


def test_setting_aside_without_a_reason_is_refused(scene: Scene) -> None:
    reading = read(scene, draft(scene).bench.bottles.get(label="M1"), "1.33390")
    with pytest.raises(Refused) as refusal:
        services.set_aside(actor=scene.contractor, reading=reading, reason=" ", at=AT)
    assert refusal.value.code == "reason_missing"


@pytest.mark.parametrize("state", ["handed_in", "sealed", "abandoned"])
def test_what_is_not_a_draft_takes_no_more_entries(scene: Scene, state: str) -> None:
    test = worked(scene)
    sample, water = (test.bench.bottles.get(label=label) for label in ("M1", "water"))
    reading = sample.readings.get()
    close(scene, test, state)
    writes = [
        lambda: read(scene, sample, "1.33390"),
        lambda: read(scene, water, "1.33300"),
        lambda: services.set_aside(actor=scene.contractor, reading=reading, reason="r", at=AT),
        lambda: services.take_back_aside(actor=scene.contractor, reading=reading),
        lambda: services.set_out(actor=scene.contractor, test=test),
        lambda: services.add_standard(
            actor=scene.contractor, bench=test.bench, target_percent=Decimal(5)
        ),
    ]
    for write in writes:
        with pytest.raises(Refused) as refusal:
            write()
        assert refusal.value.code == "not_draft"


def test_handed_in_test_closes_the_shared_bottles_but_not_the_samples_of_the_other(
    scene: Scene,
) -> None:
    first = worked(scene)
    second = draft(scene, visit=first.visit, bench=first.bench, phase="as_left")
    close(scene, first, "handed_in")
    water = first.bench.bottles.get(label="water")
    with pytest.raises(Refused) as refusal:
        read(scene, water, "1.33300")
    assert "open a new bench" in refusal.value.sentence
    own = Bottle.objects.filter(run__test=second).first()
    assert own is not None
    assert read(scene, own, "1.33400").sequence == 10


@pytest.mark.parametrize("who", ["owner", "authority", "other contractor"])
def test_only_the_contractor_of_the_visit_writes(scene: Scene, who: str) -> None:
    stranger = (
        actor_of(OrganisationFactory(kind="contractor"))
        if who == "other contractor"
        else getattr(scene, who)
    )
    test = draft(scene)
    with pytest.raises(Forbidden):
        services.set_out(actor=stranger, test=test)
    with pytest.raises(Forbidden):
        read(replace(scene, contractor=stranger), test.bench.bottles.get(label="M1"), "1.3339")


def test_withdrawn_bottle_takes_no_reading(scene: Scene) -> None:
    bottle = draft(scene).bench.bottles.get(label="M1")
    bottle.withdrawn_reason = "stamped by mistake"
    bottle.save(by=scene.contractor)
    with pytest.raises(Refused) as refusal:
        read(scene, bottle, "1.3339")
    assert refusal.value.code == "withdrawn"


def test_standard_that_was_read_is_not_withdrawn_one_that_was_not_is(scene: Scene) -> None:
    test = worked(scene)
    with pytest.raises(Refused) as refusal:
        services.withdraw_standard(
            actor=scene.contractor, bottle=test.bench.bottles.get(label="S1"), reason="spilt"
        )
    assert refusal.value.code == "has_readings"
    spare = services.add_standard(
        actor=scene.contractor, bench=test.bench, target_percent=Decimal(5)
    )
    with pytest.raises(Refused) as refusal:
        services.withdraw_standard(actor=scene.contractor, bottle=spare, reason=" ")
    assert refusal.value.code == "reason_missing"
    services.withdraw_standard(actor=scene.contractor, bottle=spare, reason="spilt")
    assert spare not in test.bench.bottles.in_use()


def test_database_refuses_a_reading_set_aside_without_reason(scene: Scene) -> None:
    reading = read(scene, draft(scene).bench.bottles.get(label="M1"), "1.33390")
    reading.set_aside_at = AT
    with pytest.raises(IntegrityError):
        reading.save(by=scene.contractor)


def test_benches_are_not_changed_by_reading_them(scene: Scene) -> None:
    test = worked(scene)
    before = Bench.objects.values().get(pk=test.bench.pk)
    read(scene, test.bench.bottles.get(label="D1"), "1.33404")
    assert Bench.objects.values().get(pk=test.bench.pk) == before
