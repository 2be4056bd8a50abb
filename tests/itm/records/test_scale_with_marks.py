"""An instrument that is read by eye between the marks of a scale, from its entry to the report."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from itm.doors.blank_sheets import field_sheet
from itm.doors.day import day_of
from itm.intake.check import judge
from itm.intake.doubts import Read, questions
from itm.records.document import document
from itm.records.evaluate import engine_input, evaluate, preview
from itm.records.loading import whole
from itm.registry.models import Instrument
from tests.conftest import Scene
from tests.factories import InstrumentFactory
from tests.itm.benches import worked
from tests.itm.intake.imports import handed_in, taken, told

SignIn = Callable[[Client, object], Client]
ENTRY = {
    "name": "Hand refractometer", "serial_number": "H-7", "method": "brix", "unit": "% Brix",
    "resolution": "0.05", "division": "0.1",
}  # fmt: skip


def by_hand(scene: Scene, **changes: Any) -> Instrument:
    made: Instrument = InstrumentFactory(
        organisation=scene.contractor.organisation, method="brix", unit="% Brix",
        **{"resolution": Decimal("0.05"), "division": Decimal("0.1"), **changes},
    )  # fmt: skip
    return made


@pytest.mark.parametrize("step", ["0.05", "0.02", "0.01"])
def test_half_fifth_and_tenth_of_a_division_are_read(scene: Scene, step: str) -> None:
    assert by_hand(scene, resolution=Decimal(step)).interpolated


@pytest.mark.parametrize("step", ["0.1", "0.03", "0.001"])
def test_no_other_part_of_a_division_is_taken(scene: Scene, step: str) -> None:
    with pytest.raises(IntegrityError, match="read_to_a_part"), transaction.atomic():
        by_hand(scene, resolution=Decimal(step))


def test_an_interpolated_digit_is_a_reading_and_one_beyond_it_is_none(scene: Scene) -> None:
    line = by_hand(scene)
    display = by_hand(scene, resolution=Decimal("0.1"), division=None)
    asked = {"place": "value", "temperature_place": "temperature"}
    assert judge("4.35", "20", line, **asked).problems == ()
    [between] = judge("4.33", "20", line, **asked).problems
    assert (between.code, between.sentence) == (
        "between_steps",
        "4.33 lies between two steps of this scale (0.05 % Brix, by eye between marks 0.1 % Brix "
        "apart): read 4.30 or 4.35.",
    )
    [beyond] = judge("4.355", "20", line, **asked).problems
    assert "this scale is read to 0.05 % Brix, by eye between" in beyond.sentence
    [finer] = judge("4.35", "20", display, **asked).problems
    assert finer.code == "finer_than_display"


def test_a_digit_that_was_left_out_is_asked_about(scene: Scene) -> None:
    typed = [Read("a", 1, "b", "standard", 3.0, Decimal("4.3"), None)]
    found = questions(typed, by_hand(scene))
    assert found[0].sentence == (
        "Typed with 1 decimals, this scale is read to 0.05 % Brix, by eye between marks 0.1 % Brix "
        "apart: was a digit left out?"
    )


def test_the_entry_is_taken_and_refused_on_its_page(
    client: Client, scene: Scene, sign_in: SignIn
) -> None:
    sign_in(client, scene.contractor)
    refused = client.post(reverse("instrument_new"), ENTRY | {"resolution": "0.04"})
    assert "a half, a fifth or a tenth of a division" in refused.content.decode()
    assert client.post(reverse("instrument_new"), ENTRY).status_code == 302
    row = Instrument.objects.get(serial_number="H-7")
    page = client.get(reverse("instrument", args=[row.key])).content.decode()
    assert "0.05 % Brix, by eye between marks 0.1 % Brix apart" in page


def test_it_comes_in_by_a_file(scene: Scene) -> None:
    head = "name;serial_number;method;unit;resolution;division;temperature_compensated\n"
    line = "Hand refractometer;H-8;Brix;% Brix;0.05;{};yes\n"
    assert taken(scene.contractor, "instruments", head + line.format("0.1")).state == "done"
    assert Instrument.objects.get(serial_number="H-8").division == Decimal("0.1")
    wrong = handed_in(scene.contractor, "instruments", (head + line.format("0.3")))
    assert wrong.state != "ready"
    assert told(wrong)


def test_what_reading_by_eye_leaves_open_goes_into_the_interval(scene: Scene) -> None:
    # JCGM 100:2008, 4.3.9: a triangle, in place of the rectangle of a display (4.3.7).
    test = worked(scene)
    meter = test.bench.instrument
    before = preview(test).result
    assert "interpolated" not in engine_input(whole(test.pk))["instrument"]
    meter.division = meter.resolution * 10
    meter.save(by=scene.contractor)
    assert engine_input(whole(test.pk))["instrument"]["interpolated"] is True
    after = preview(test).result
    assert before is not None
    assert after is not None
    for one, other in zip(before["flow_points"], after["flow_points"], strict=True):
        assert other["percent"] == one["percent"]
        assert other["standard_uncertainty"] > one["standard_uncertainty"]


def test_day_paper_and_record_say_between_which_marks(scene: Scene) -> None:
    test = worked(scene)
    meter = test.bench.instrument
    plain = document(whole(test.pk), evaluate(test, actor=scene.contractor))
    assert "division" not in plain["bench"]["instrument"]
    meter.division = meter.resolution * 2
    meter.save(by=scene.contractor)
    marked = document(whole(test.pk), evaluate(test, actor=scene.contractor))
    assert marked["bench"]["instrument"]["division"] == "0.00002"
    [bench] = day_of(scene.contractor, test.visit.key)["benches"]
    assert bench["instrument"]["steps_in_words"] == "0.00001, by eye between marks 0.00002 apart"
    assert bench["fields"]["value"]["decimals"] == 5
    # √2 of the step: JCGM 100:2008, 4.3.9, a triangle of half width one step.
    assert bench["instrument"]["width"] == pytest.approx(1.41421356e-5, rel=1e-8)
    assert bench["fields"]["value"]["interpolated"] is True
    assert field_sheet(scene.contractor, test.visit.key, size="a4").startswith(b"%PDF")
