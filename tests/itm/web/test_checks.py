"""Pages of a concentrate check, used as a crew, a supervisor, an owner and an authority would."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from itm.records.models import ConcentrateCheck, ConcentrateSample, LaboratoryReport
from itm.reports import services
from itm.reports.address import check_path
from tests.checks import (
    ON,
    PDF,
    begun,
    bottle,
    checked,
    lot_of,
    measure,
    mixed,
    sent,
    with_report,
)
from tests.factories import LotRangeFactory
from tests.table_files import read_csv, read_xlsx

pytestmark = pytest.mark.django_db


@pytest.fixture
def crew(scene, sign_in):
    return sign_in(Client(), scene.contractor)


def page(client, name, key, status=200):
    got = client.get(reverse(name, args=[key]))
    assert got.status_code == status
    return " ".join(got.content.decode().split())


def opened(client, url):
    """Hidden entries of the form as a browser would send them back."""
    return dict(client.get(url).context["form"].carried())


def test_a_check_from_the_tank_to_the_seal_by_its_pages(scene, crew):
    lot = lot_of(scene)
    LotRangeFactory(lot=lot)
    assert "Begin a concentrate check" in page(crew, "tank", scene.tank.key)
    new = reverse("check_new", args=[scene.tank.key])
    form = crew.get(new).context["form"]
    data = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    data |= {"checked_on": "2026-06-15", "purpose": "periodic", "programmes": ["european"],
             "notes": ""}  # fmt: skip
    data.pop("circulated")
    assert crew.post(new, data).status_code == 302
    assert crew.post(new, data).status_code == 302  # a double click
    check = ConcentrateCheck.objects.get()
    shown = page(crew, "check", check.key)
    assert "No bottle noted yet." in shown
    assert "certificate of Invented concentrate" in shown

    add = reverse("bottle_new", args=[check.key])
    key = crew.get(add).context["form"].initial["key"]
    entry = {"key": key, "point": "top", "label": "B 17", "taken_at": "2026-06-15T10:00"}
    assert crew.post(add, entry).status_code == 302
    sample = ConcentrateSample.objects.get()

    sheet = page(crew, "bottle_values", sample.key)
    assert "certificate 1.3702" in sheet
    assert "6.5 to 8.5" in sheet  # of the lot's range, as laid into the table
    assert "EN 1568-3, clause on pH, at 20 °C" in sheet
    got = crew.post(
        reverse("bottle_values", args=[sample.key]),
        {"origin": "own", "value-ph": "76", "value-refractive_index": "1,37020",
         "temperature-refractive_index": "20.0", "value-density": "1.032",
         "unit-density": "kg/m³", "temperature-density": "20"},
    )  # fmt: skip
    assert got.status_code == 422
    text = " ".join(got.content.decode().split())
    assert "76 is no pH of a concentrate: it is 0 to 14." in text
    assert "as 1.032 g/mL it would be one" in text
    assert 'value="76"' in text  # what was typed is still there
    assert list(sample.values.values_list("name", flat=True)) == ["refractive_index"]
    again = {"origin": "own", "value-ph": "7.6", "value-density": "1.032", "unit-density": "g/mL",
             "temperature-density": "20"}  # fmt: skip
    assert crew.post(reverse("bottle_values", args=[sample.key]), again).status_code == 302
    shown = page(crew, "check", check.key)
    assert "Within all 2 limits that it was held against." in shown
    assert "no change shown" in shown
    assert "All bottles are from one point of the tank" in shown

    once = {"once": "6b0f0a0e-0000-4000-8000-000000000001"}
    assert crew.post(reverse("check_hand_in", args=[check.key]), once).status_code == 302
    signature = {"name": "A", "qualification": "B", "number": ""}
    assert crew.post(reverse("check_sign", args=[check.key]), signature).status_code == 302
    check.refresh_from_db()
    assert check.state == "sealed"
    assert "Sealed, record" in page(crew, "check", check.key)


def test_a_bottle_is_sent_answered_and_its_values_entered(scene, crew):
    lot_of(scene)
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    url = reverse("bottle_edit", args=[sample.key])
    way = {"label": sample.label, "point": "top", "look": "", "taken_at": "2026-06-15T11:00",
           "laboratory": "", "sent_on": "2026-06-15", "consignment": "",
           "received_on": ""}  # fmt: skip
    got = crew.post(url, opened(crew, url) | way)
    assert got.status_code == 422
    assert "Name the laboratory it was sent to." in got.content.decode()
    assert crew.post(url, opened(crew, url) | way | {"laboratory": "L"}).status_code == 302
    assert "outstanding for" in crew.get(reverse("bottles")).content.decode()
    assert "result outstanding" in page(crew, "check", check.key)
    assert "Sending it away is no result" in page(crew, "check", check.key)
    paper = {"laboratory": "L", "number": "R 1", "reported_on": "2026-07-01",
             "samples": [sample.key], "chosen": SimpleUploadedFile("r.pdf", PDF)}  # fmt: skip
    new = reverse("laboratory_report_new", args=[check.key])
    wrong = crew.post(new, paper | {"chosen": SimpleUploadedFile("r.pdf", b"no file of ours")})
    assert "is neither a JPEG" in wrong.content.decode()
    assert LaboratoryReport.objects.count() == 0
    paper["chosen"] = SimpleUploadedFile("r.pdf", PDF)
    assert crew.post(new, paper).status_code == 302
    report = LaboratoryReport.objects.get()
    served = crew.get(reverse("laboratory_report_file", args=[report.key]))
    assert b"".join(served.streaming_content) == PDF
    assert served["X-Content-Type-Options"] == "nosniff"
    assert "R 1" in page(crew, "check", check.key)
    assert 'value="laboratory" checked' in page(crew, "bottle_values", sample.key)


def test_by_what_and_when_it_was_measured_is_typed_once_for_the_sheet(scene, crew):
    lot_of(scene)
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    url = reverse("bottle_values", args=[sample.key])
    sent = {"origin": "own", "value-ph": "7.6", "unit-ph": "", "method": "glass electrode"}
    for day, words in (("soon", "year, month and day"), ("2026-06-14", "was only taken on")):
        got = crew.post(url, sent | {"measured_on": day})
        assert got.status_code == 422
        assert words in got.content.decode()
        assert 'value="glass electrode"' in got.content.decode()
        assert 'value="7.6"' in got.content.decode()
    assert crew.post(url, sent | {"measured_on": "2026-06-15"}).status_code == 302
    told = "measured by the crew, glass electrode, measured on 15 Jun 2026"
    assert told in page(crew, "check", check.key)


def test_a_value_is_set_aside_with_its_reason_and_back(scene, crew):
    check = checked(scene, until="draft")
    value = check.samples.first().values.get(name="ph")
    url = reverse("value_aside", args=[value.key])
    assert crew.post(url, {"reason": ""}).status_code == 422
    assert crew.post(url, {"reason": "read before it was stirred"}).status_code == 302
    assert "read before it was stirred" in page(crew, "bottle_values", value.sample.key)
    assert "set aside: read before it was stirred" in page(crew, "check", check.key)
    assert crew.post(reverse("value_back", args=[value.key])).status_code == 302
    value.refresh_from_db()
    assert value.set_aside_at is None


def test_the_check_changes_until_a_value_is_there(scene, crew):
    check = begun(scene)
    url = reverse("check_edit", args=[check.key])
    change = {"checked_on": "2026-06-14", "purpose": "again", "programmes": ["ships"],
              "u_refractive_index": "0.0002", "u_density": "0.5", "notes": "warm"}  # fmt: skip
    assert crew.post(url, opened(crew, url) | change).status_code == 302
    check.refresh_from_db()
    assert (check.purpose, check.notes, str(check.checked_on)) == ("again", "warm", "2026-06-14")
    assert {one["of"] for one in check.criteria} == {"ships"}
    measure(bottle(check, scene.contractor), scene.contractor, ph="7")
    assert "what they are held against stays as it is" in page(crew, "check_edit", check.key)


def test_a_sealed_check_prints_its_report_and_is_proved_by_its_digest(scene, crew):
    thin = {**mixed(0.9), "ph": "7.6"}
    check = checked(scene, top=thin, bottom=thin)
    printed = page(crew, "check_report", check.key)
    assert "Concentrate check report" in printed
    assert "90." in printed
    assert "<strong>diluted</strong>" in printed
    services.render_report(str(check.key))
    got = crew.get(reverse("check_report_pdf", args=[check.key]))
    assert (got.status_code, got["Content-Type"]) == (200, "application/pdf")
    assert got.content.startswith(b"%PDF")
    told = Client().get(check_path(check.seal)).content.decode()
    assert "This digest belongs to a sealed record" in told
    assert "Concentrate tank" in told
    assert "diluted" in told


def test_a_check_that_waits_for_its_pdf_says_so(scene, crew):
    check = checked(scene)
    got = crew.get(reverse("check_report_pdf", args=[check.key]))
    assert got.status_code == 202
    assert "The PDF is being made" in got.content.decode()


def test_owner_and_authority_see_their_part(scene, sign_in):
    draft = checked(scene, until="draft")
    handed = checked(scene, until="handed_in", on=ON + timedelta(days=1))
    whole = checked(scene, on=ON + timedelta(days=2))
    owner, authority = (sign_in(Client(), who) for who in (scene.owner, scene.authority))
    for client, seen in ((owner, [404, 200, 200]), (authority, [404, 404, 200])):
        got = [
            client.get(reverse("check", args=[row.key])).status_code
            for row in (draft, handed, whole)
        ]
        assert got == seen
    shown = page(owner, "check", handed.key)
    assert "Send back" in shown
    assert "Sign and seal" not in shown
    back = reverse("check_send_back", args=[handed.key])
    got = owner.post(back, {"reason": "bottom is missing"}, follow=True)
    assert got.redirect_chain[-1][0] == reverse("tank", args=[scene.tank.key])


def test_lists_and_search_find_checks_and_bottles(scene, crew, sign_in):
    check = with_report(scene)
    label = check.samples.get().label
    listed = crew.get(reverse("checks"), {"find": scene.tank.tag}).content.decode()
    assert reverse("check", args=[check.key]) in listed
    assert "within limits" in listed or "no limits" in listed
    found = crew.get(reverse("search"), {"find": label}).content.decode()
    assert reverse("check", args=[check.key]) in found
    authority = sign_in(Client(), scene.authority)
    assert label in authority.get(reverse("bottles")).content.decode()


def test_the_history_of_a_tank_has_a_plot_and_a_table_for_each_property(scene, crew, sign_in):
    for year, share in ((2021, 1.0), (2022, 0.99), (2023, 0.97), (2024, 0.95), (2025, 0.93)):
        thin = {**mixed(share), "ph": "7.6"}
        checked(scene, on=ON.replace(year=year), top=thin, bottom=thin)
    shown = page(crew, "tank_history", scene.tank.key)
    assert "Refractive index nD, top" in shown
    assert "The refractive index nD is falling since" in shown
    assert "certificate" in shown
    assert shown.count('role="img"') >= 12
    reader = sign_in(Client(), scene.authority)
    assert page(reader, "tank_history", scene.tank.key)
    text = read_csv(reader.get(reverse("tank_history_csv", args=[scene.tank.key])))
    book = read_xlsx(reader.get(reverse("tank_history_xlsx", args=[scene.tank.key])))
    assert [row["As typed"] for row in text] == [row["As typed"] or "" for row in book]
    measured = [row for row in book if row["Counts"] == "in the series"]
    assert len(measured) == 5 * 3 * 2  # checks, properties, bottles
    assert {row["From"] for row in measured} <= {"crew", "laboratory"}
    with_value = [float(row["Value"]) for row in text if row["Value"]]
    assert with_value == [row["Value"] for row in book if row["Value"] is not None]
    held = [row for row in measured if row["Limits"]]
    assert held
    for row in held:  # as the series judges it: the tightest limits of the check
        assert row["Lower limit"] is not None or row["Upper limit"] is not None
    certificates = [row for row in book if row["Counts"] == "certificate"]
    assert {row["Property"] for row in certificates} == {row["Property"] for row in measured}
    told = [row["Note"] for row in text if row["Counts"] == "what the years say"]
    assert any(words.startswith("The refractive index nD is falling since") for words in told)
    for words in told:
        assert escape(words) in shown


def test_an_empty_history_says_so(scene, crew):
    assert "No sealed check yet" in page(crew, "tank_history", scene.tank.key)
    assert "No check yet that is yours" in crew.get(reverse("checks")).content.decode()
    assert "No bottle yet that is yours" in crew.get(reverse("bottles")).content.decode()


@pytest.mark.parametrize("count", [3, 12])
def test_the_history_reads_a_fixed_number_of_queries(
    scene, crew, count, django_assert_max_num_queries
):
    for n in range(count):
        checked(scene, on=ON - timedelta(days=30 * n))
    with django_assert_max_num_queries(14):
        page(crew, "tank_history", scene.tank.key)


def test_an_amendment_takes_the_place_of_what_it_corrects(scene, crew):
    check = checked(scene)
    amend = reverse("check_amend", args=[check.key])
    assert crew.post(amend, {"reason": "pH was misread"}).status_code == 302
    draft = ConcentrateCheck.objects.get(amends=check)
    shown = page(crew, "check", draft.key)
    assert "Corrects record" in shown
    assert "pH was misread" in shown
    assert "Being corrected" in page(crew, "check", check.key)


def test_what_was_sent_and_is_not_answered_stands_first(scene, crew):
    with_report(scene)
    waiting = sent(bottle(begun(scene), scene.contractor), scene.contractor)
    lines = crew.get(reverse("bottles")).context["lines"]
    assert next(line[0][1].text for line in lines) == waiting.label
    narrowed = crew.get(reverse("bottles"), {"way": "under_way"}).context["lines"]
    assert [line[0][1].text for line in narrowed] == [waiting.label]


def test_ranges_of_a_certificate_are_typed_in_and_a_reversed_one_is_handed_back(scene, sign_in):
    owner, lot = sign_in(Client(), scene.owner), lot_of(scene)
    url = reverse("lot_ranges", args=[lot.key])
    assert "Ranges of its certificate" in page(owner, "lot", lot.key)
    typed = {"density-lowest": "1.028", "density-highest": "1.042", "density-unit": "g/mL",
             "density-condition": "at 20 °C", "ph-lowest": "8,5", "ph-highest": "7"}  # fmt: skip
    got = owner.post(url, typed)
    assert got.status_code == 422
    text = " ".join(got.content.decode().split())
    assert "The pH runs from 8,5 to 7: write the lower end first." in text
    assert 'value="1.028"' in text  # what was typed is still there
    assert owner.post(url, typed | {"ph-lowest": "7", "ph-highest": "8,5"}).status_code == 302
    shown = page(owner, "lot", lot.key)
    assert "1.028 g/mL to 1.042 g/mL" in shown
    assert "at 20 °C" in shown
    limits = {one["property"]: (one["lowest"], one["highest"]) for one in begun(scene).criteria}
    assert limits["density"] == ("1028", "1042")
    assert "1.028" in page(owner, "lot_ranges", lot.key)
