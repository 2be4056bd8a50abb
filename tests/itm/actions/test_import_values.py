"""Values of concentrate bottles come in from a table, of several checks at once.

The liquid is invented: index 1.37020 and density 1032 kg/m³ at 20 °C (tests/checks.py).
"""

import hashlib
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from itm.actions.hand_in import hand_in
from itm.actions.undo_import import undo_import
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.models import Change
from itm.doors.files import take_up
from itm.intake.examples import csv_example, xlsx_example
from itm.intake.models import Upload
from itm.intake.value_layout import COLUMNS, VALUES
from itm.records import checking
from itm.records.models import ConcentrateSample, LaboratoryReport, SampleValue
from itm.registry.properties import PROPERTIES
from tests.checks import INDEX, ON, at, bottle, measure, sealed, sent
from tests.factories import OrganisationFactory, actor_of
from tests.itm.actions.values import (
    BOTTOM,
    TOP,
    WIDE,
    answer_of,
    both,
    bring,
    crew,
    in_force,
    look,
    two_bottles,
)
from tests.itm.intake.imports import answered, handed_in, told
from tests.itm.intake.tables.files import workbook


@pytest.fixture
def check(scene):
    return two_bottles(scene)


def test_every_property_has_a_column_of_its_own():
    assert sorted(COLUMNS.values()) == sorted(PROPERTIES)
    assert all(set(group) <= set(VALUES.names) for group in VALUES.one_of)


def test_a_row_of_a_bottle_becomes_its_values_as_they_were_typed(scene, check):
    row = bring(scene)
    top = in_force()
    assert {name: one.value_typed for name, one in top.items()} == {
        "refractive_index": "1.37020", "density": "1.0320 g/mL", "ph": "7.60",
    }  # fmt: skip
    assert top["density"].value == Decimal("1032")
    assert top["refractive_index"].temperature_typed == "20.0"
    assert in_force(BOTTOM)["refractive_index"].value_typed == "1.3700"
    assert {one.origin for one in top.values()} == {"own"}
    assert "ph" not in in_force(BOTTOM)
    assert len(row.made) == 5
    [noted] = Change.objects.filter(verb="imported", model="records.ConcentrateCheck")
    assert (noted.object_key, noted.note) == (check.key, "5 values from table.csv")


def test_a_row_for_each_property_says_the_same(scene, check):
    bring(scene, (
        "sample;parameter;result;unit;temperature\n"
        f"{TOP};Refractive index nD;1.37020;;20.0\n{TOP};density;1.0320;g/cm3;20.0\n"
        f"{TOP};pH;7.60;-;20.0\n{TOP};sediment;0.05;% vol;\n{TOP};Dynamic viscosity;1900 cP;;20\n"
    ))  # fmt: skip
    assert {name: one.value_typed for name, one in in_force().items()} == {
        "refractive_index": "1.37020", "density": "1.0320 g/mL", "ph": "7.60",
        "sediment_percent": "0.05 % vol", "dynamic_viscosity_mpa_s": "1900 cP",
    }  # fmt: skip


def test_a_laboratory_writes_with_commas_and_its_own_heads(scene, check):
    """“Density at 20 °C” names where it was read and not in which unit."""
    data = (
        "Invented institute;;;\n"
        "Bottle label;Refractive index at 20 °C;Density at 20 °C;pH\n"
        ";-;g/mL;-\n"
        f"{TOP};1,37020;1,0320;7,6\n"
    )
    row = look(scene, data)
    assert told(row) == [("B4", "temperature_missing"), ("C4", "temperature_missing")]
    row = answered(crew(scene), row, **{"said:temperature": "20"})
    assert row.state == "ready"
    take_up(actor=crew(scene), row=row, at=timezone.now())
    assert in_force()["density"].value_typed == "1,0320 g/mL"
    assert in_force()["density"].temperature_c == 20


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_the_example_is_taken_in_as_it_is(scene, check, form):
    """Its bottles exist here under the labels that it shows."""
    data = csv_example(VALUES) if form == "csv" else xlsx_example(VALUES)
    for sample in check.samples.all():
        sent(sample, scene.contractor)
    row = bring(scene, data, name=f"example.{form}")
    assert row.rows == 3
    assert in_force(BOTTOM)["sediment_percent"].value_typed == "0.05 % vol"
    hand_in(actor=scene.contractor, key=check.key, at=timezone.now())


def test_numbers_of_a_workbook_are_taken_with_the_unit_of_their_head(scene, check, tmp_path):
    rows = [
        ["bottle", "density (kg/m3)", "conductivity_ms_cm", "temperature"],
        [TOP, 1032, 4.25, 20],
    ]
    bring(scene, workbook(tmp_path, rows).read_bytes(), name="a.xlsx")
    assert in_force()["density"].value_typed == "1032 kg/m³"
    assert in_force()["conductivity_ms_cm"].value_typed == "4.25 mS/cm"


# One table, several checks ------------------------------------------------------------------------


def test_a_laboratory_answers_for_two_tanks_in_one_table(scene):
    here, far = both(scene)
    data = answer_of(f"{TOP};1.3702;20", "T-2 top;1.3651;20")
    row = bring(scene, data, name="L-118.csv")
    reports = list(LaboratoryReport.objects.order_by("concentrate_check_id"))
    assert [str(one) for one in reports] == ["Invented institute, L-118"] * 2
    assert {one.sha256 for one in reports} == {hashlib.sha256(data.encode()).hexdigest()}
    assert {one.content_type for one in reports} == {"text/csv"}
    assert [one.file.read() for one in reports] == [data.encode()] * 2
    assert all(one.name == "L-118.csv" for one in reports)
    for sample in (here, far):
        sample = ConcentrateSample.objects.get(pk=sample.pk)
        assert sample.report.concentrate_check_id == sample.concentrate_check_id
        assert sample.received_on == date(2026, 6, 18)
        assert not sample.under_way
        assert sample.values.get().origin == "laboratory"
    hand_in(actor=scene.contractor, key=here.concentrate_check.key, at=timezone.now())
    assert len(row.made) == 4


def test_a_report_that_is_attached_already_answers_for_the_other_bottle_too(scene):
    here, _ = both(scene)
    check = here.concentrate_check
    second = sent(bottle(check, scene.contractor, "bottom", label=BOTTOM), scene.contractor)
    bring(scene, answer_of(f"{TOP};1.3702;20"))
    there = check.laboratory_reports.get()
    row = bring(scene, answer_of(f"{BOTTOM};1.3701;20"), name="more.csv")
    second.refresh_from_db()
    assert second.report_id == there.pk
    undo_import(actor=scene.contractor, key=row.key, because="twice", at=timezone.now())
    second.refresh_from_db()
    there.refresh_from_db()
    assert (second.report_id, second.received_on, there.withdrawn_reason) == (None, None, "")


def test_what_no_column_says_is_said_once_for_the_whole_file(scene):
    both(scene)
    row = look(scene, f"bottle;index\n{TOP};1.3702\nT-2 top;1.3651\n")
    asked = {one["code"]: one["entry"] for one in row.findings["questions"]}
    assert asked["said:laboratory"] == "text"
    assert asked["said:reported_on"] == "day"
    assert asked["said:temperature"] == "number"
    row = answered(
        crew(scene), row, **{
            "said:temperature": "20.0", "said:laboratory": "Invented institute",
            "said:report_number": "L-9", "said:reported_on": "2026-07-06",
        },
    )  # fmt: skip
    assert (row.state, told(row), row.findings["asked"]) == ("ready", [], [])
    take_up(actor=crew(scene), row=row, at=timezone.now())
    assert LaboratoryReport.objects.filter(number="L-9").count() == 2
    assert in_force()["refractive_index"].temperature_typed == "20.0"


def test_by_what_and_when_it_was_measured_stands_with_each_value_of_the_row(scene, check):
    head = "bottle;density (g/mL);ph;temperature;method;date analysed"
    bring(scene, f"{head}\n{TOP};1.0320;7.6;20;invented method 4;18.06.2026\n")
    for value in in_force().values():
        assert (value.method, value.measured_on) == ("invented method 4", date(2026, 6, 18))


def test_a_laboratorys_values_without_their_report_are_taken_and_the_report_asked_for(scene):
    here, _ = both(scene)
    row = look(scene, f"bottle;index;temperature\n{TOP};1.3702;20\n")
    assert row.state == "ready"
    [asked] = row.findings["asked"]
    assert asked["place"] == "A2"
    assert "attach that" in asked["sentence"]
    take_up(actor=crew(scene), row=row, at=timezone.now())
    assert in_force()["refractive_index"].origin == "laboratory"
    with pytest.raises(Refused, match="is under way"):
        hand_in(actor=scene.contractor, key=here.concentrate_check.key, at=timezone.now())


# Whose it is --------------------------------------------------------------------------------------


def test_bottles_of_others_are_not_known(scene, check):
    other = actor_of(OrganisationFactory(kind="contractor"))
    row = handed_in(other, "values", WIDE)
    assert told(row) == [("A2", "unknown_name"), ("A3", "unknown_name")]
    row = handed_in(scene.owner, "values", WIDE)
    assert {code for _, code in told(row)} == {"unknown_name"}


def test_an_authority_brings_no_values(scene, check):
    with pytest.raises(Forbidden):
        handed_in(scene.authority, "values", WIDE)


# Once, all or nothing, and back again -------------------------------------------------------------


def test_the_same_bytes_are_the_same_import_and_the_same_content_is_taken_once(scene, check):
    row = bring(scene)
    assert bring_again(scene, WIDE).pk == row.pk
    take_up(actor=crew(scene), row=row, at=timezone.now())
    assert SampleValue.objects.count() == 5


def bring_again(scene, data: str) -> Upload:
    return handed_in(crew(scene), "values", data)


def test_what_changed_since_the_look_refuses_the_whole_table(scene, check):
    row = look(scene, WIDE)
    measure(check.samples.get(label=BOTTOM), scene.contractor, density="1032 kg/m³")
    with pytest.raises(Refused) as refused:
        take_up(actor=crew(scene), row=row, at=timezone.now())
    assert refused.value.code == "changed"
    assert "C3" in refused.value.sentence
    assert SampleValue.objects.count() == 1


def test_a_table_taken_back_leaves_everything_as_it_was_but_for_what_stays_to_be_read(scene):
    here, far = both(scene)
    row = bring(scene, answer_of(f"{TOP};1.3702;20", "T-2 top;1.3651;20"))
    undo_import(actor=scene.contractor, key=row.key, because="wrong file", at=timezone.now())
    why = "import of table.csv taken back: wrong file"
    assert {one.set_aside_reason for one in SampleValue.objects.all()} == {why}
    assert {one.withdrawn_reason for one in LaboratoryReport.objects.all()} == {why}
    for sample in (here, far):
        sample.refresh_from_db()
        assert (sample.report_id, sample.received_on) == (None, None)
        assert sample.under_way
    again = bring(scene, answer_of(f"{TOP};1.3702;20", "T-2 top;1.3651;20"))
    assert again.pk != row.pk
    assert in_force()["refractive_index"].value == INDEX


def test_a_value_that_was_set_aside_by_hand_keeps_its_own_reason(scene, check):
    row = bring(scene)
    checking.set_aside_value(
        actor=scene.contractor, value=in_force()["ph"], reason="probe not rinsed", at=at()
    )
    undo_import(actor=scene.contractor, key=row.key, because="wrong", at=timezone.now())
    assert SampleValue.objects.get(name="ph").set_aside_reason == "probe not rinsed"


def test_a_table_stays_once_one_of_its_checks_is_handed_in_or_sealed(scene, check):
    row = bring(scene)
    hand_in(actor=scene.contractor, key=check.key, at=at(ON, 16))
    for _ in range(2):
        with pytest.raises(Refused) as refused:
            undo_import(actor=scene.contractor, key=row.key, because="late", at=timezone.now())
        assert refused.value.code == "not_draft"
        check.refresh_from_db()
        if check.state == "handed_in":
            sealed(check, scene.contractor)
    assert SampleValue.objects.exclude(set_aside_at=None).count() == 0


def test_no_file_of_a_report_stays_where_the_import_is_refused(scene, settings):
    both(scene)
    row = look(scene, answer_of(f"{TOP};1.3702;20"))
    Upload.objects.get(pk=row.pk)
    twin = look(scene, answer_of(f"{TOP};1.3702;20") + "\n", name="twin.csv")
    take_up(actor=crew(scene), row=row, at=timezone.now())
    undone = undo_import(actor=scene.contractor, key=row.key, because="x", at=timezone.now())
    undone.state = "done"
    undone.undone_at, undone.undone_by, undone.undone_because = None, "", ""
    undone.save(by=scene.contractor)
    folder = settings.MEDIA_ROOT / "laboratory"
    before = sorted(folder.iterdir())
    with pytest.raises(Conflict):
        take_up(actor=crew(scene), row=twin, at=timezone.now() + timedelta(seconds=1))
    assert sorted(folder.iterdir()) == before
