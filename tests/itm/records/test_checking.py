"""A concentrate check from its beginning to its seal: what is refused, and what follows."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from itm.actions.hand_in import hand_in
from itm.core.errors import Conflict, Forbidden, Refused
from itm.records import checking, sampling
from itm.records.models import ConcentrateCheck, ConcentrateSample, SampleValue
from itm.registry import book
from itm.registry.certifying import Range, set_ranges
from itm.schedule.models import Duty
from itm.schedule.services import start_duties
from itm.trends.next_things import next_things
from tests.checks import (
    ON,
    answered,
    at,
    begun,
    bottle,
    checked,
    lot_of,
    measure,
    mixed,
    sealed,
    sent,
)
from tests.factories import OrganisationFactory, actor_of


def code_of(act):
    with pytest.raises((Refused, Conflict, Forbidden)) as refusal:
        act()
    return refusal.value.code


def open_checks(scene):
    rows = Duty.objects.filter(tank=scene.tank, done_on=None, withdrawn_on=None)
    return list(rows.filter(requirement__task="concentrate_check").order_by("cause"))


# From begun to sealed ---------------------------------------------------------------------------


def test_a_sealed_check_completes_the_duty_on_the_day_of_its_samples(scene):
    start_duties(actor=scene.owner, tank=scene.tank)
    check = checked(scene)
    done = Duty.objects.get(tank=scene.tank, done_on=ON)
    assert done.done_by_record == check.key
    [following] = open_checks(scene)
    assert following.counts_from == ON
    assert following.due_on == date(2027, 6, 15)
    assert (check.limits, check.strength, check.layers) == (
        "within limits", "no change shown", "no layers shown",
    )  # fmt: skip


def test_sending_a_bottle_away_completes_nothing_and_hands_nothing_in(scene):
    start_duties(actor=scene.owner, tank=scene.tank)
    lot_of(scene)
    check = begun(scene)
    sample = sent(bottle(check, scene.contractor), scene.contractor)
    assert sample.under_way
    refused = pytest.raises(Refused, match="Sending it away is no result")
    with refused:
        hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))
    [duty] = open_checks(scene)
    assert duty.done_on is None
    answered([sample], scene.contractor)
    sample.refresh_from_db()
    measure(sample, scene.contractor, "laboratory", **mixed(1.0))
    hand_in(actor=scene.contractor, key=check.key, at=at(ON + timedelta(days=22)))
    assert open_checks(scene) == [duty]  # neither does a hand-in
    sealed(check, scene.contractor)
    duty.refresh_from_db()
    assert duty.done_on == ON


def test_a_value_of_a_laboratory_needs_its_report(scene):
    lot_of(scene)
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    measure(sample, scene.contractor, "laboratory", **mixed(1.0))
    with pytest.raises(Refused, match="no report is attached"):
        hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))


def test_an_index_without_its_temperature_is_asked_for_it(scene):
    lot_of(scene)
    check = begun(scene)
    measure(bottle(check, scene.contractor), scene.contractor, temperature="", **mixed(1.0))
    with pytest.raises(Refused, match="has no temperature"):
        hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))


def test_without_bottles_or_values_nothing_is_handed_in(scene):
    check = begun(scene)
    with pytest.raises(Refused, match="No bottle is noted"):
        hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))
    bottle(check, scene.contractor)
    with pytest.raises(Refused, match="Nothing is entered of"):
        hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))


def test_what_was_read_too_warm_is_held_against_nothing(scene):
    lot_of(scene)
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    measure(sample, scene.contractor, temperature="26.0", **mixed(0.9))
    measure(sample, scene.contractor, ph="7.6")
    hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))
    result = check.evaluations.get().result
    assert [row["property"] for row in result["properties"]] == ["ph"]
    assert result["strength"] == []


# Results ----------------------------------------------------------------------------------------


def test_a_tank_thinned_by_a_tenth_is_diluted_by_index_and_density_together(scene):
    thin = {**mixed(0.9), "ph": "7.6"}
    check = checked(scene, top=thin, bottom=thin)
    [left, _] = check.evaluations.get().result["strength"]
    # 90 % by construction; 5e-6 of index and 0.05 kg/m³ of density are the digits that were typed.
    assert left["share_left_percent"] == pytest.approx(90, abs=0.2)
    assert check.strength == "diluted"
    assert check.limits == "within limits"


def test_a_result_that_proves_nothing_opens_another_sample(scene):
    start_duties(actor=scene.owner, tank=scene.tank)
    checked(scene, top={**mixed(0.9), "ph": "7.6"})
    causes = {duty.cause: duty for duty in open_checks(scene)}
    assert set(causes) == {"periodic", "retest"}
    assert causes["retest"].due_on == ON
    later = ON + timedelta(days=10)
    checked(scene, on=later, purpose="again")
    assert [duty.cause for duty in open_checks(scene)] == ["periodic"]
    causes["retest"].refresh_from_db()
    assert causes["retest"].done_on == later


def test_another_sample_stands_among_the_next_things(scene):
    start_duties(actor=scene.owner, tank=scene.tank)
    checked(scene, top={**mixed(0.9), "ph": "7.6"})
    told = [thing.what for thing in next_things(scene.owner, at(hour=20)).object_list]
    assert [what for what in told if what.endswith(", again")]


def test_a_value_outside_the_certificate_is_outside_and_asks_for_another(scene):
    start_duties(actor=scene.owner, tank=scene.tank)
    lot = lot_of(scene)
    set_ranges(
        actor=scene.owner, lot=lot,
        ranges={"ph": Range(Decimal("7"), Decimal("8"), "7.0", "8.0", "at 20 °C")},
    )  # fmt: skip
    check = checked(scene, top={**mixed(1.0), "ph": "8.4"})
    assert check.limits == "outside limits"
    rows = check.evaluations.get().result["properties"]
    assert {(r["sample"][-3:], r["limits_of"]): r["statement"] for r in rows} == {
        ("top", "lot"): "above",
        ("top", "european"): "within",
        ("tom", "lot"): "within",
        ("tom", "european"): "within",
    }
    assert "retest" in {duty.cause for duty in open_checks(scene)}


def test_top_and_bottom_apart_are_layers_unless_the_tank_was_circulated(scene):
    weak = {**mixed(0.9), "ph": "7.6"}
    assert checked(scene, top=weak).layers == "stratified"
    later = ON + timedelta(days=1)
    assert checked(scene, top=weak, on=later, circulated=True).layers == ""


def test_limits_are_frozen_when_the_check_is_begun(scene):
    lot = lot_of(scene)
    check = checked(scene, until="draft")
    set_ranges(actor=scene.owner, lot=lot, ranges={"ph": Range(highest=Decimal("7"))})
    lot.refractive_index = Decimal("1.4")
    lot.save(by=scene.owner)
    hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))
    check.refresh_from_db()
    assert (check.limits, check.strength) == ("within limits", "no change shown")


def test_the_baseline_of_several_lots_is_their_mixture(scene):
    from tests.factories import ConcentrateLotFactory, TankFillFactory

    lot_of(scene)
    other = ConcentrateLotFactory(
        owner=scene.owner.organisation, refractive_index=Decimal("1.3602"), density=Decimal(1012)
    )
    tank, before = book.opened(scene.tank)
    first = tank.movements.get()
    first.volume, first.volume_typed, first.left = 0.6, "600 L", 0.6
    first.save(by=scene.owner)
    book.settled(tank, before)
    TankFillFactory(
        tank=scene.tank, lot=other, kind="top_up", volume=0.3, volume_typed="300 L",
        moved_on=date(2020, 1, 1), allowed_by="A person", allowed_because="of one maker",
    )  # fmt: skip
    check = begun(scene)
    assert [lot["volume_l"] for lot in check.basis["lots"]] == ["600", "300"]
    sample = bottle(check, scene.contractor)
    # (600 × 1.3702 + 300 × 1.3602)/900 = 1.36687, (600 × 1032 + 300 × 1012)/900 = 1025.3
    measure(sample, scene.contractor, refractive_index="1.36687", density="1025.3")
    hand_in(actor=scene.contractor, key=check.key, at=at(hour=16))
    check.refresh_from_db()
    assert check.strength == "no change shown"


# What is refused --------------------------------------------------------------------------------


def test_who_is_not_engaged_begins_no_check(scene):
    other = actor_of(OrganisationFactory(kind="contractor"))
    assert code_of(lambda: begun(scene, by=other)) == "forbidden"
    assert code_of(lambda: begun(scene, by=scene.authority)) == "forbidden"


def test_another_day_or_limits_that_nobody_knows_are_refused(scene):
    def begin(**wrong):
        return lambda: checking.begin_check(
            actor=scene.contractor, tank=scene.tank, at=at(),
            **{"checked_on": ON, "purpose": "periodic", **wrong},
        )  # fmt: skip

    assert code_of(begin(checked_on=ON + timedelta(days=2))) == "day_ahead"
    assert code_of(begin(programmes=["lakes"])) == "unknown_programme"
    assert code_of(begin(u_density=Decimal(0))) == "uncertainty"
    scene.tank.installed_on = ON + timedelta(days=1)
    scene.tank.save(by=scene.owner)
    assert code_of(begin()) == "before_installed"


def test_one_key_makes_one_check_one_bottle_and_one_value(scene):
    key = begun(scene).key
    assert begun(scene, key=key).key == key
    check = ConcentrateCheck.objects.get()
    first = bottle(check, scene.contractor)
    again = bottle(check, scene.contractor, key=first.key, label="another")
    assert again == first
    [value] = measure(first, scene.contractor, ph="7")
    repeated = checking.add_value(
        actor=scene.contractor, sample=first, name="ph", value=Decimal(7), value_typed="7",
        origin="own", at=at(), key=value.key,
    )  # fmt: skip
    assert repeated == value


def test_a_label_stands_on_one_bottle_of_an_organisation(scene):
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    again = lambda: bottle(check, scene.contractor, label=sample.label)  # noqa: E731
    assert code_of(again) == "label_taken"
    with pytest.raises(IntegrityError), transaction.atomic():
        ConcentrateSample.objects.create(
            by=scene.contractor, concentrate_check=check, organisation=check.organisation,
            label=sample.label, point="top", taken_at=at(), taken_by="somebody",
        )  # fmt: skip
    assert sampling.proposed_label(check, "top") == f"{sample.label} 2"


def test_a_bottle_of_another_day_or_of_no_circulated_tank_is_refused(scene):
    check = begun(scene)
    late = at(ON + timedelta(days=1))
    assert code_of(lambda: bottle(check, scene.contractor, taken_at=late)) == "other_day"
    assert code_of(lambda: bottle(check, scene.contractor, "recirculated")) == "not_circulated"
    assert code_of(lambda: bottle(check, scene.contractor, label=" ")) == "label_missing"


def test_the_way_to_the_laboratory_goes_forward_in_time(scene):
    sample = bottle(begun(scene), scene.contractor)

    def send(**way):
        return code_of(lambda: sent(sample, scene.contractor, **way))

    assert send(laboratory="") == "laboratory_missing"
    assert send(sent_on=ON - timedelta(days=1)) == "sent_before_taken"
    assert send(sent_on=ON + timedelta(days=1)) == "day_ahead"
    assert send(received_on=ON - timedelta(days=1)) == "received_before_sent"
    assert send(sent_on=None, received_on=ON) == "not_sent"
    sample.received_on = ON
    with pytest.raises(IntegrityError), transaction.atomic():
        sample.save(by=scene.contractor)


def test_a_report_names_its_laboratory_number_day_and_bottles(scene):
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    assert code_of(lambda: answered([sample], scene.contractor, days=-1)) == "before_samples"
    assert code_of(lambda: answered([sample], scene.contractor, number=" ")) == "number_missing"
    report = answered([sample], scene.contractor)
    assert code_of(lambda: answered([sample], scene.contractor)) == "report_there"
    sampling.withdraw_sample(actor=scene.contractor, sample=sample, reason="broken")
    assert code_of(lambda: answered([sample], scene.contractor, "L-2")) == "samples_missing"
    sampling.withdraw_report(actor=scene.contractor, report=report, reason="of another tank")
    sample.refresh_from_db()
    assert sample.report is None


def test_one_value_is_in_force_and_the_one_set_aside_says_why(scene):
    check = begun(scene)
    [value] = measure(bottle(check, scene.contractor), scene.contractor, ph="7.6")
    another = lambda: measure(value.sample, scene.contractor, ph="7.7")  # noqa: E731
    assert code_of(another) == "conflict"
    with pytest.raises(IntegrityError), transaction.atomic():
        SampleValue.objects.create(
            by=scene.contractor, sample=value.sample, name="ph", value=7, value_typed="7",
            origin="own", entered_at=at(), entered_by="somebody",
        )  # fmt: skip
    aside = {"actor": scene.contractor, "value": value, "at": at()}
    assert code_of(lambda: checking.set_aside_value(reason=" ", **aside)) == "reason_missing"
    checking.set_aside_value(reason="read before it was stirred", **aside)
    [second] = another()
    back = {"actor": scene.contractor, "value": value}
    assert code_of(lambda: checking.bring_back_value(**back)) == "conflict"
    checking.set_aside_value(reason="the first one was right", **{**aside, "value": second})
    assert checking.bring_back_value(**back).set_aside_reason == ""


def test_nothing_is_measured_before_its_bottle_was_filled_or_on_a_day_to_come(scene):
    sample = bottle(begun(scene), scene.contractor)
    value = {
        "actor": scene.contractor, "sample": sample, "name": "ph", "value": Decimal("7.6"),
        "value_typed": "7.6", "origin": "own", "at": at(), "method": "glass electrode",
    }  # fmt: skip
    for on, code in ((ON - timedelta(days=1), "measured_before"), (date(2030, 1, 1), "day_ahead")):
        act = lambda on=on: checking.add_value(measured_on=on, **value)  # noqa: E731
        assert code_of(act) == code
    made = checking.add_value(measured_on=ON, **value)
    assert (made.method, made.measured_on) == ("glass electrode", ON)


def test_what_a_check_is_held_against_stays_once_a_value_is_there(scene):
    check = begun(scene)
    change = {"actor": scene.contractor, "check": check, "at": at()}
    changed = checking.change_check(programmes=["ships"], **change)
    assert {one["of"] for one in changed.criteria} == {"ships"}
    sample = bottle(check, scene.contractor)
    earlier = ON - timedelta(days=1)
    assert code_of(lambda: checking.change_check(checked_on=earlier, **change)) == "samples_there"
    measure(sample, scene.contractor, ph="7.6")
    assert code_of(lambda: checking.change_check(programmes=[], **change)) == "values_there"
    assert checking.change_check(notes="smells of nothing", **change).notes


def test_only_its_makers_write_in_it_and_only_in_a_draft(scene):
    check = checked(scene, until="handed_in")
    sample = check.samples.first()
    assert code_of(lambda: measure(sample, scene.owner, expansion="7")) == "forbidden"
    assert code_of(lambda: measure(sample, scene.contractor, expansion="7")) == "not_draft"
    assert code_of(lambda: sampling.withdraw_sample(
        actor=scene.contractor, sample=sample, reason="x")) == "not_draft"  # fmt: skip
