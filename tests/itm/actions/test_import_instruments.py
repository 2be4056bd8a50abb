"""What an instrument does with temperature is said and not guessed, and its figures are looked at.

How many steps of a display a maker may state as repeatability is our own choice, no source.
"""

import pytest
from django.urls import reverse

from itm.doors.files import take_up
from itm.registry.models import Instrument
from tests.itm.intake.imports import answered, handed_in, told

HEAD = "name;serial number;what it reads;resolution;repeatability"
LINE = "Bench refractometer;00{};index;0.0001;{}"


def table(*repeatabilities: str, more: tuple[str, ...] = ()) -> str:
    lines = [LINE.format(n, one) for n, one in enumerate(repeatabilities)]
    if not more:
        return "\n".join([HEAD, *lines]) + "\n"
    said = [f"{line};{cell}" for line, cell in zip(lines, more, strict=True)]
    return "\n".join([f"{HEAD};temperature_compensated", *said]) + "\n"


@pytest.mark.parametrize(("said", "corrects"), [("yes", True), ("no", False)])
def test_a_file_without_the_column_is_asked_once(scene, said, corrects):
    row = handed_in(scene.contractor, "instruments", table("0.0001", "0.0002"))
    assert row.state == "open"
    [question] = [one for one in row.findings["questions"] if not one["found"]]
    assert question["code"] == "said:temperature_compensated"
    assert [value for value, _ in question["choices"]] == ["yes", "no"]
    row = answered(scene.contractor, row, **{question["code"]: said})
    assert row.state == "ready"
    take_up(actor=scene.contractor, row=row, at=row.added_at)
    made = Instrument.objects.filter(serial_number__in=("000", "001"))
    assert [one.temperature_compensated for one in made] == [corrects] * 2


def test_an_answer_that_is_no_choice_leaves_it_open(scene):
    row = handed_in(scene.contractor, "instruments", table("0.0001"))
    row = answered(scene.contractor, row, **{"said:temperature_compensated": "perhaps"})
    assert row.state == "open"


def test_a_row_that_says_nothing_does_not_say_no(scene):
    row = handed_in(scene.contractor, "instruments", table("0.0001", "0.0001", more=("yes", "")))
    assert (row.state, told(row)) == ("open", [("F3", "missing")])
    assert "yes or no" in row.findings["problems"][0]["fix"]


def test_a_repeatability_far_beyond_the_display_is_asked_about_and_shown(scene, client, sign_in):
    row = handed_in(scene.contractor, "instruments", table("5", "0.0002", more=("yes", "no")))
    assert row.state == "ready"
    [asked] = row.findings["asked"]
    assert asked["place"] == "E2"
    assert "50,000 steps of its display" in asked["sentence"]
    take_up(actor=scene.contractor, row=row, at=row.added_at)
    sign_in(client, scene.contractor)
    odd, plain = Instrument.objects.filter(serial_number__in=("000", "001")).order_by("pk")
    pages = [client.get(reverse("instrument", args=[one.key])).content.decode()
             for one in (odd, plain)]  # fmt: skip
    assert ["50,000 steps" in page for page in pages] == [True, False]
