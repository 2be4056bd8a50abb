"""What stands with a record although no reading shows it; all readings are invented.

Which slips are met, and that samples stand 30 s before they are caught, is common practice, no
published source. Sizes (2.86, 3.15 %) are arithmetic of the mixing rule.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse

from calc.units import FLOW
from itm.actions.hand_in import hand_in
from itm.actions.sign import sign
from itm.core.errors import Refused
from itm.core.quantities import quantity
from itm.records import bench as benches
from itm.records import chain, discharge, pouring
from itm.records.circumstances import age_remark
from itm.records.document import document
from itm.records.evaluate import engine_input
from itm.records.loading import whole
from itm.records.models import Bottle, Evaluation, ProportioningTest
from itm.schedule.deriving import samples_wanted
from itm.schedule.models import Requirement
from tests import deeds
from tests.conftest import Scene
from tests.factories import CertificateFactory

BENCH = "Bench"


def said(test: ProportioningTest) -> list[tuple[str, str]]:
    """Where and what, of a draft as it stands."""
    form = document(whole(test.pk), Evaluation(result={"flow_points": []}, inputs={}))
    return [(one["where"], one["text"]) for one in form["circumstances"]]


def texts(test: ProportioningTest, where: str = "") -> str:
    return " ".join(text for place, text in said(test) if not where or place == where)


def worked(scene: Scene, **options: Any) -> deeds.Day:
    day = deeds.prepared(scene, **options)
    return deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.2, "design": 3.4})


def note(day: deeds.Day, **entered: Any) -> None:
    benches.change_bench(actor=day.actor, bench=day.test.bench, **entered)


def again(day: deeds.Day, label: str, value: str, temperature: str = "20.0") -> Any:
    bottle = Bottle.objects.get(bench=day.test.bench, label=label)
    return benches.add_reading(
        actor=day.actor, bottle=bottle, value_typed=value, temperature_typed=temperature,
        at=day.tick(),
    )  # fmt: skip


def test_a_good_day_has_nothing_said_of_it(scene: Scene) -> None:
    assert said(worked(scene).test) == []


def test_readings_beyond_the_range_of_compensation_are_named(scene: Scene) -> None:
    scene.instrument.temperature_compensated = True
    scene.instrument.compensates_from_c = Decimal(10)
    scene.instrument.compensates_to_c = Decimal(30)
    scene.instrument.save(by=scene.contractor)
    day = worked(scene)
    assert said(day.test) == []
    again(day, "water", "1.33250", "34.5")
    assert "Read at 34.5 °C; the instrument compensates from 10 to 30 °C only" in texts(
        day.test, "water"
    )


@pytest.mark.parametrize(
    ("follows", "low", "high"), [(True, 30, 10), (True, 10, None), (False, 10, 30)]
)
def test_database_refuses_a_range_of_compensation_that_is_none(
    scene: Scene, follows: bool, low: int | None, high: int | None
) -> None:
    meter = scene.instrument
    meter.temperature_compensated = follows
    meter.compensates_from_c, meter.compensates_to_c = low, high
    with pytest.raises(IntegrityError, match="instrument_compensates_in_range"):
        meter.save(by=scene.contractor)


def test_first_reading_after_the_concentrate_stays_named_until_it_is_set_aside(
    scene: Scene,
) -> None:
    """Nothing where its repeats agree with it, however it was read."""
    day = worked(scene)
    again(day, "concentrate", "1.35300")
    again(day, "S1", "1.33340")
    assert said(day.test) == []
    again(day, "concentrate", "1.35300")
    high = again(day, "S2", "1.33420")
    (found,) = said(day.test)
    assert found[0] == "S2"
    assert "1.33420 was read right after the undiluted concentrate" in found[1]
    benches.set_aside(actor=day.actor, reading=high, reason="prism not washed", at=day.tick())
    assert said(day.test) == []


def test_the_setting_of_the_meter_is_asked_of_the_bench_and_goes_to_the_engine(
    scene: Scene,
) -> None:
    day = worked(scene)
    assert engine_input(whole(day.test.pk))["instrument"]["temperature_compensated"] is False
    note(day, compensation="on")
    assert engine_input(whole(day.test.pk))["instrument"]["temperature_compensated"] is True


def test_two_settings_of_compensation_leave_no_verdict_until_that_is_resolved(
    scene: Scene,
) -> None:
    day = worked(scene)
    note(day, compensation="mixed")
    assert "no line in common" in texts(day.test, BENCH)
    with pytest.raises(Refused) as refused:
        hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    assert refused.value.code == "incomplete"
    assert "set it once, read every bottle again" in refused.value.sentence
    note(day, compensation="off")
    assert hand_in(actor=day.actor, key=day.test.key, at=day.tick()).state == "handed_in"


def test_bottles_that_were_left_wet_are_named_with_what_that_is_worth(scene: Scene) -> None:
    """95 mL of solution and 5 mL of water are 3.00 × 95/100 = 2.85 %, or 2.86 on top of 100 mL."""
    day = worked(scene)
    note(day, bottles_were="dry")
    assert said(day.test) == []
    note(day, bottles_were="wet")
    assert "5 mL of water in a bottle of 100 mL take 3.00 % to 2.86 %" in texts(day.test, BENCH)


def test_samples_left_open_are_named_with_what_that_is_worth(scene: Scene) -> None:
    day = worked(scene)
    note(day, samples_kept="open")
    assert "reads 3.15 %" in texts(day.test, BENCH)
    note(day, samples_kept="closed")
    assert said(day.test) == []


def test_a_sample_read_a_week_later_is_named_with_its_age(scene: Scene) -> None:
    day = deeds.restored(deeds.discharged(deeds.prepared(scene)))
    day.tick(days=7)
    deeds.read(day, {"minimum": 3.2, "design": 3.4})
    assert "Read 7 days after it was caught" in texts(day.test, "minimum 1")


def test_the_age_of_a_sample_counts_from_a_day_on() -> None:
    caught = datetime(2026, 6, 15, 9, tzinfo=UTC)
    assert age_remark(caught, [caught + timedelta(hours=24)]) == ""
    assert "Read 25 h after" in age_remark(caught, [caught + timedelta(hours=25)])
    assert age_remark(None, [caught]) == age_remark(caught, []) == ""


def test_two_sources_of_water_are_named_until_both_waters_are_read(scene: Scene) -> None:
    day = worked(scene)
    note(day, water_source="tap in the canteen", system_water_source="fire pond")
    assert "“tap in the canteen”, the discharge came from “fire pond”" in texts(day.test, BENCH)
    benches.add_system_water(actor=day.actor, bench=day.test.bench)
    again(day, "system water", "1.33300")
    assert said(day.test) == []


def test_a_sample_caught_before_the_mixture_settled_stays_named(scene: Scene) -> None:
    day = deeds.prepared(scene)
    run = day.test.runs.get(flow_point__name="minimum")
    discharge.foam_seen(actor=day.actor, run=run, at=day.tick())
    discharge.add_sample(actor=day.actor, run=run, at=day.tick(seconds=12))
    again(day, "minimum 1", "1.33364")
    assert "Caught 12 s after foam was noted" in texts(day.test, "minimum 1")


def test_how_many_samples_are_wanted_is_data_of_the_programmes(scene: Scene) -> None:
    """Three by common practice; a row with evidence says another number, and Prepare freezes it."""
    on = date(2026, 6, 15)
    assert samples_wanted(scene.proportioner, on) == 3
    short = deeds.read(
        deeds.restored(deeds.discharged(deeds.prepared(scene), samples=1)),
        {"minimum": 3.2, "design": 3.4},
    )
    assert "1 sample read where 3 were asked for" in texts(short.test, "minimum")
    row = Requirement.objects.get(task="proportioning_test", programme__everywhere=True)
    row.evidence = [
        {"key": "samples", "label": "Samples of a flow point", "kind": "number", "lower": "5"}
    ]
    row.save()
    assert samples_wanted(scene.proportioner, on) == 5
    assert short.test.samples_wanted == 3  # as it was frozen
    assert deeds.prepared(scene, on=date(2026, 7, 15)).test.samples_wanted == 5


def test_a_run_below_the_listed_flow_stays_named_on_record_and_report(
    scene: Scene, client: Client, sign_in: Any
) -> None:
    """A result there says nothing about the device, whatever its percent."""
    scene.proportioner.lowest_listed_flow = quantity("1000", "L/min", FLOW).si
    scene.proportioner.lowest_listed_flow_typed = "1000 L/min"
    scene.proportioner.save(by=scene.owner)
    test = deeds.tested(scene)
    for address in (reverse("test", args=[test.key]), reverse("report", args=[test.key])):
        page = sign_in(client, scene.contractor).get(address).content.decode()
        assert "Below the lowest listed flow (1000 L/min): a result here says nothing" in page


def test_a_flow_off_the_nameplate_stays_named_as_no_evidence(scene: Scene) -> None:
    day = worked(scene)
    run = day.test.runs.get(flow_point__name="design")
    discharge.note_run(
        actor=day.actor, run=run, flow_source="nameplate",
        solution_flow=quantity("1900", "L/min", FLOW),
    )  # fmt: skip
    assert "A flow from the nameplate was not measured" in texts(day.test, "design")


def test_the_same_readings_as_in_an_earlier_test_are_a_fact_of_the_record(scene: Scene) -> None:
    deeds.tested(scene, on=date(2025, 6, 16))
    now = worked(scene)
    assert "All 11 readings, their temperatures and their order are the same" in texts(
        now.test, "Readings"
    )
    assert "16 Jun 2025" in texts(now.test, "Readings")
    again(now, "S2", "1.33361")
    assert said(now.test) == []


def test_concentrate_that_reads_as_another_systems_is_named(scene: Scene) -> None:
    """Not where the lot is known to be another."""
    deeds.tested(scene, on=date(2025, 6, 16))
    day = deeds.prepared(scene)
    deeds.restored(deeds.discharged(day))
    benches.set_out(actor=day.actor, test=day.test)
    again(day, "concentrate", "1.36300")
    (found,) = said(day.test)
    assert "The undiluted concentrate reads 1.36300, and 1.35300 in the test of" in found[1]
    assert "Another liquid in the tank, another bottle, or another scale" in found[1]


@pytest.mark.parametrize(
    ("needed", "due_on", "refused"),
    [(True, date(2026, 6, 14), True), (True, date(2026, 6, 15), False),
     (False, date(2026, 6, 14), False)],
)  # fmt: skip
def test_an_owner_may_refuse_results_of_an_instrument_out_of_date(
    scene: Scene, needed: bool, due_on: date, refused: bool
) -> None:
    """By the days of the readings; without the owner's rule the record says it and goes on."""
    scene.site.certificate_needed = needed
    scene.site.save(by=scene.owner)
    CertificateFactory(instrument=scene.instrument, issued_on=date(2025, 6, 14), due_on=due_on)
    day = worked(scene)
    if not refused:
        assert hand_in(actor=day.actor, key=day.test.key, at=day.tick()).state == "handed_in"
        return
    with pytest.raises(Refused) as no:
        hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    assert "takes no result read with an instrument out of date" in no.value.sentence
    assert "the bench was read on 15 Jun 2026" in no.value.sentence


@pytest.mark.parametrize(("until", "ended"), [
    (date(2026, 6, 14), True), (date(2026, 6, 15), False), (None, False),
])  # fmt: skip
def test_a_licence_that_ended_before_the_day_of_the_work_stands_among_the_warnings(
    scene: Scene, client: Client, sign_in: Any, until: date | None, ended: bool
) -> None:
    day = worked(scene)
    hand_in(actor=day.actor, key=day.test.key, at=day.tick())
    sign(
        actor=day.actor, key=day.test.key, at=day.tick(), name="A. Invented", number="L-1",
        qualification="Foam systems technician", valid_until=until,
    )  # fmt: skip
    test = ProportioningTest.objects.get(pk=day.test.pk)
    assert chain.parsed(test.seal)["seal"]["licence_until"] == (until and until.isoformat())
    for name in ("test", "report"):
        page = sign_in(client, scene.authority).get(reverse(name, args=[test.key])).content.decode()
        assert ("certificate of A. Invented ended on 14 Jun 2026" in page) is ended
    assert list(chain.verify()) == []


def test_a_mass_is_refused_as_a_volume_with_the_way_to_one(scene: Scene) -> None:
    """6.30 g at 1.05 g/mL are 6.00 mL, by arithmetic."""
    day = worked(scene)
    bottle = Bottle.objects.get(bench=day.test.bench, label="S2")
    with pytest.raises(Refused) as refused:
        pouring.set_volumes(
            actor=day.actor, bottle=bottle, concentrate_ml_typed="6.3 g", water_ml_typed="194"
        )
    assert (refused.value.code, refused.value.place) == ("mass_not_volume", "concentrate_ml")
    assert "Divide by the density" in refused.value.sentence
