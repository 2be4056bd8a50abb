"""Values of concentrate bottles from a table: from the page of their check and back to it."""

import pytest
from django.urls import reverse

from itm.records.models import ConcentrateCheck
from tests.checks import begun, bottle, lot_of
from tests.itm.web.test_imports import latest, send


@pytest.fixture
def crew(scene, client, sign_in):
    lot_of(scene)
    bottle(begun(scene), scene.contractor, label="T-1 top")
    return sign_in(client, scene.contractor)


def test_values_go_from_the_page_of_the_check_to_their_table_and_back(scene, crew):
    check = ConcentrateCheck.objects.get()
    page = crew.get(reverse("check", args=[check.key])).content.decode()
    there = f"{reverse('import_new')}?kind=values"
    assert there in page
    assert there in crew.get(reverse("bottles")).content.decode()
    assert '<option value="values" selected>' in crew.get(there).content.decode()
    page = send(crew, "bottle;index\nT-1 top;1.3700\n", kind="values").content.decode()
    assert "<td>1.3700</td>" in page
    assert "has no temperature" in page
    assert "or answer the question above" in page
    assert "Read it with these answers" in page
    assert "Take in" not in page
    key = latest().key
    questions = {one["code"]: one["found"] for one in latest().findings["questions"]}
    questions["said:temperature"] = "20.0"
    said = {f"q{number}": text for number, text in enumerate(questions.values())}
    page = crew.post(reverse("import_answer", args=[key]), said, follow=True).content.decode()
    assert "Take in 1 row" in page
    assert 'value="20.0"' in page
    page = crew.post(reverse("import_take", args=[key]), follow=True).content.decode()
    assert f'<a href="{reverse("check", args=[check.key])}">' in page
    assert check.samples.get().values.get().value_typed == "1.3700"


def test_what_is_said_for_the_whole_file_is_judged_where_it_is_typed(scene, crew):
    send(crew, "bottle;index\nT-1 top;1.3702\n", kind="values")
    codes = [one["code"] for one in latest().findings["questions"]]
    there = reverse("import_answer", args=[latest().key])
    wrong = {"said:temperature": "warm", "said:reported_on": "6/7/26", "said:laboratory": "x" * 121}
    sent = {f"q{codes.index(code)}": text for code, text in wrong.items()}
    answer = crew.post(there, sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "write one number" in page
    assert "year, month and day" in page
    assert "at most 120 characters" in page
    assert 'value="warm"' in page


def test_the_columns_of_the_values_are_documented_with_their_units(crew):
    page = crew.get(reverse("import_layout", args=["values"])).content.decode()
    assert "a property with its value, or a column for each property" in page
    assert "in kg/m³ or g/mL" in page


def test_two_columns_or_one_for_each_property_have_to_be_chosen(scene, crew):
    send(crew, "bottle;Farbe\nT-1 top;7.6\n", kind="values")
    there = reverse("import_columns", args=[latest().key])
    answer = crew.post(there, {"head": "1", "column-bottle": "0", "column-value": "1"})
    assert answer.status_code == 422
    assert "a property with its value" in answer.content.decode()
    page = crew.post(there, {"head": "1", "column-bottle": "0", "column-ph": "1"}, follow=True)
    assert "Take in 1 row" in page.content.decode()
