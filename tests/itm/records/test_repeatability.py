"""The scatter of an instrument from its own sealed benches; all readings are invented."""

import re
from datetime import date
from decimal import Decimal
from statistics import variance
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from calc.readings import at_temperature
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.core.errors import Refused
from itm.records import bench as benches
from itm.records import chain, preparing
from itm.records.evaluate import engine_input, preview
from itm.records.loading import whole
from itm.records.models import Bottle, ProportioningTest
from itm.records.repeatability import history
from itm.reports.content_bench import instrument
from itm.reports.wording import SiteClock
from tests import deeds
from tests.conftest import Scene

# Each bottle of `deeds.read` once; the water and one standard here twice more.
AGAIN = {"water": ("1.33302", "1.33299"), "S2": ("1.33361", "1.33358")}


def worked(scene: Scene, again: dict[str, tuple[str, ...]], **options: Any) -> deeds.Day:
    day = deeds.prepared(scene, **options)
    deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.2, "design": 3.4})
    for label, values in again.items():
        bottle = Bottle.objects.get(bench=day.test.bench, label=label)
        for value in values:
            read(day, bottle, value)
    return day


def read(day: deeds.Day, bottle: Bottle, value: str, temperature: str = "20.0") -> Any:
    return benches.add_reading(
        actor=day.actor, bottle=bottle, value_typed=value, temperature_typed=temperature,
        at=day.tick(),
    )  # fmt: skip


def sealed(day: deeds.Day) -> ProportioningTest:
    hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    return deeds.signed(day)


def known(test: ProportioningTest) -> Any:
    return engine_input(whole(test.pk))["instrument"].get("repeatability_history")


def test_sealed_repeats_are_pooled_and_the_next_test_rests_on_them(scene: Scene) -> None:
    """Pooled by hand: the mean of two variances of three readings each (JCGM 100, 4.2.4)."""
    first = worked(scene, AGAIN)
    assert history(scene.instrument) is None  # not sealed yet
    assert known(first.test) is None
    sealed(first)
    water, standard = [1.33300, 1.33302, 1.33299], [1.33360, 1.33361, 1.33358]
    expected = ((variance(water) + variance(standard)) / 2) ** 0.5
    found = history(scene.instrument)
    assert found is not None
    assert found.standard_deviation == pytest.approx(expected, rel=1e-6)
    assert (found.degrees_of_freedom, found.bottles, found.benches) == (4, 2, 1)
    after = worked(scene, {}, on=date(2027, 6, 15))
    assert known(after.test) == {
        "standard_deviation": found.standard_deviation, "degrees_of_freedom": 4,
    }  # fmt: skip


def test_what_is_sealed_later_moves_no_evaluation(scene: Scene) -> None:
    sealed(worked(scene, AGAIN))
    second = sealed(worked(scene, {}, on=date(2027, 6, 15)))
    before = chain.parsed(second.seal)["evaluation"]["inputs"]
    sealed(worked(scene, {"water": ("1.33320", "1.33280")}, on=date(2028, 6, 15)))
    assert chain.parsed(second.seal)["evaluation"]["inputs"] == before
    assert [*chain.verify()] == []


def test_a_test_is_not_judged_by_its_own_readings_twice(scene: Scene) -> None:
    test = sealed(worked(scene, AGAIN))
    draft = amend(
        actor=scene.contractor, key=test.key, reason="misread label",
        at=worked(scene, {}, on=date(2026, 6, 20)).tick(),
    )  # fmt: skip
    assert known(draft) is None
    assert history(scene.instrument) is not None


def test_only_repeats_that_count_are_pooled(scene: Scene) -> None:
    """Set aside, undiluted and without a temperature: none of them says what the display does."""
    day = worked(scene, {"water": ("1.33302",)})
    slip = read(day, Bottle.objects.get(bench=day.test.bench, label="S1"), "1.33900")
    benches.set_aside(actor=day.actor, reading=slip, reason="bubble", at=day.tick())
    thick = Bottle.objects.get(bench=day.test.bench, role=Bottle.Role.CONCENTRATE)
    read(day, thick, "1.35350")
    cold = Bottle.objects.get(bench=day.test.bench, label="S3")
    benches.add_reading(
        actor=day.actor, bottle=cold, value_typed="1.33390", temperature_typed="", at=day.tick()
    )
    sealed(day)
    found = history(scene.instrument)
    assert found is not None
    assert (found.degrees_of_freedom, found.bottles) == (1, 1)


def test_repeats_at_two_temperatures_are_compared_at_one(scene: Scene) -> None:
    """Water 2 °C warmer by the published equation (check-values B-08) is no scatter."""
    day = worked(scene, {})
    water = Bottle.objects.get(bench=day.test.bench, label="water")
    warm = float(at_temperature("refractive_index", 1.33300, 20.0, 22.0).reading)
    read(day, water, f"{warm + 0.00001:.5f}", "22.0")
    sealed(day)
    found = history(scene.instrument)
    assert found is not None
    assert found.standard_deviation == pytest.approx(1e-5 / 2**0.5, abs=4e-6)


def test_repeats_that_never_differ_are_not_sent(scene: Scene, client: Client, sign_in: Any) -> None:
    sealed(worked(scene, {"water": ("1.33300", "1.33300")}))
    assert known(worked(scene, {}, on=date(2027, 6, 15)).test) is None
    page = sign_in(client, scene.contractor).get(reverse("instrument", args=[scene.instrument.key]))
    assert "2 repeats in 1 bottle on 1 sealed bench all showed the same number" in words(page)


def test_page_of_the_instrument_and_report_say_what_it_rests_on(
    scene: Scene, client: Client, sign_in: Any
) -> None:
    url = reverse("instrument", args=[scene.instrument.key])
    page = sign_in(client, scene.contractor)
    assert "No sealed bench with a bottle read twice yet" in words(page.get(url))
    sealed(worked(scene, AGAIN))
    shown = words(page.get(url))
    assert "standard deviation of one reading by 4 repeats in 2 bottles on 1 sealed bench" in shown
    form = chain.parsed(sealed(worked(scene, {}, on=date(2027, 6, 15))).seal)
    facts = {fact.name: fact.value for fact in instrument(form, SiteClock.of(form))}
    assert "by 4 repeats on sealed benches before" in facts["From its own records"]


def words(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", "", answer.content.decode()).split())


# One temperature ---------------------------------------------------------------------------------


def test_readings_are_corrected_where_the_record_asks_for_it(scene: Scene) -> None:
    """Samples 3 °C warmer read lower by the index of water (check-values B-08); corrected to the
    bench's own temperature they give what was poured."""
    day = deeds.prepared(scene, correct_temperatures=True)
    deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.2, "design": 3.4})
    for bottle in Bottle.objects.filter(run__flow_point__name="design", bench=day.test.bench):
        [reading] = bottle.readings.all()
        benches.set_aside(actor=day.actor, reading=reading, reason="too warm", at=day.tick())
        warm = at_temperature("refractive_index", float(reading.value), 20.0, 23.0).reading
        read(day, bottle, f"{float(warm):.5f}", "23.0")
    assert engine_input(whole(day.test.pk))["correct_to_c"] == 20.0
    found = preview(day.test).result
    assert found is not None
    [design] = [p for p in found["flow_points"] if p["name"] == "design"]
    assert design["percent"] == pytest.approx(3.4, abs=0.04)
    preparing.change_test(actor=day.actor, test=day.test, correct_temperatures=False)
    plain = preview(ProportioningTest.objects.get(pk=day.test.pk)).result
    assert plain is not None
    [cold] = [p for p in plain["flow_points"] if p["name"] == "design"]
    assert cold["percent"] < 2.2
    preparing.change_test(actor=day.actor, test=day.test, correct_temperatures=True)
    form = chain.parsed(sealed(day).seal)
    facts = {fact.name: fact.value for fact in instrument(form, SiteClock.of(form))}
    assert "as it would be at 20 °C" in facts["Temperature"]
    assert [*chain.verify()] == []


def test_an_instrument_that_corrects_itself_is_not_corrected_twice(scene: Scene) -> None:
    scene.instrument.temperature_compensated = True
    scene.instrument.save(by=scene.contractor)
    with pytest.raises(Refused) as refused:
        deeds.prepared(scene, correct_temperatures=True)
    assert (refused.value.code, refused.value.place) == ("corrected_twice", "correct_temperatures")
    day = deeds.prepared(scene, on=date(2027, 6, 15))
    with pytest.raises(Refused, match="wrong by as much again"):
        preparing.change_test(actor=day.actor, test=day.test, correct_temperatures=True)


def test_a_missing_temperature_is_asked_for(scene: Scene) -> None:
    day = deeds.prepared(scene, correct_temperatures=True)
    deeds.read(deeds.discharged(day), {"minimum": 3.2, "design": 3.4}, temperature="")
    assert engine_input(whole(day.test.pk))["correct_to_c"] == 20.0
    assert "has no temperature" in preview(day.test).problem


def test_the_tick_stands_at_prepare_and_can_be_changed_until_handed_in(
    scene: Scene, client: Client, sign_in: Any
) -> None:
    day = deeds.prepared(scene)
    page, url = sign_in(client, scene.contractor), reverse("test_prepare", args=[day.test.key])
    assert 'name="correct_temperatures"' in page.get(url).content.decode()
    answer = page.post(url, {"purpose": "periodic", "correct_temperatures": "on", "notes": "",
                             "opened-correct_temperatures": "False"})  # fmt: skip
    assert answer.status_code == 302
    day.test.refresh_from_db()
    assert day.test.correct_temperatures
    scene.instrument.temperature_compensated = True
    scene.instrument.resolution = Decimal("0.00001")
    scene.instrument.save(by=scene.contractor)
    refused = page.post(url, {"purpose": "periodic", "correct_temperatures": "on", "notes": "x"})
    assert refused.status_code == 422
    assert "corrects for temperature itself" in refused.content.decode()
