"""Paper for a test day: read back by another library, and drawn by another renderer's eyes."""

import re
from datetime import date
from io import BytesIO
from urllib.parse import unquote

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from itm.core.errors import Refused
from itm.doors.blank_sheets import field_sheet, labels_of
from itm.doors.day import day_of
from itm.doors.sample_labels import SAMPLES
from itm.records import discharge
from itm.records import services as visits
from tests.direct_deeds import direct_day, measured_test
from tests.factories import TODAY
from tests.itm.reports.archival import elements, require_title

# A page of each paper in points, 72 an inch: ISO 216 A4 is 210 × 297 mm, US Letter 8.5 × 11 in
# (ANSI/ASME Y14.1, from memory).
POINTS = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


@pytest.fixture
def crew(scene, sign_in) -> Client:
    return sign_in(Client(), scene.contractor)


def read(client, name, visit, size) -> PdfReader:
    answer = client.get(reverse(name, args=[visit.key, size]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert "no-store" in answer["Cache-Control"]
    return PdfReader(BytesIO(answer.content))


def words_of(pdf: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize("name", ["field_sheet_pdf", "labels_pdf"])
def test_sheets_have_the_paper_that_was_asked_for_and_their_fonts_inside(crew, draft, name, size):
    pdf = read(crew, name, draft.visit, size)
    for page in pdf.pages:
        box = page.mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(POINTS[size], abs=1)
        for font in page["/Resources"].get("/Font", {}).values():
            [inner] = font.get_object()["/DescendantFonts"]
            descriptor = inner.get_object()["/FontDescriptor"]
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)


@pytest.mark.parametrize("name", ["field_sheet_pdf", "labels_pdf"])
def test_sheets_are_tagged_and_say_their_title_wherever_it_is_read(crew, draft, name):
    pdf = read(crew, name, draft.visit, "a4")
    require_title(pdf)
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]
    figures = elements(pdf, "/Figure")
    assert figures
    assert all(figure.get("/Alt") for figure in figures)


def test_everything_of_the_day_is_on_the_sheet_in_the_crews_order(crew, scene, draft):
    text = words_of(read(crew, "field_sheet_pdf", draft.visit, "a4"))
    day = day_of(scene.contractor, draft.visit.key)
    wanted = ["1. Before", "Monitoring company".lower(), "First valve moved", "2. Discharge"]
    wanted += ["Flow point minimum", "minimum 1", f"minimum {SAMPLES}", "Flow point design"]
    wanted += ["3. Stop and flush", *(step["text"][:25] for step in day["tests"][0]["flush"])]
    wanted += ["4. Put back", *(line["text"][:25] for line in day["restoration"])]
    wanted += [
        "5. Bench",
        scene.instrument.name,
        "S1",
        "6. Effluent",
        "7. Remarks",
        "Not a report.",
    ]
    places = []
    for words in wanted:
        assert words in text, words
        places.append(text.index(words, places[-1] if places else 0))
    assert places == sorted(places)
    assert text.count("Caution:") == 6
    assert "safe" not in text.lower()


def test_boxes_stay_empty_whatever_was_entered(crew, scene, draft, phone):
    """What is printed in a box would be copied by hand, not read."""
    run = draft.runs.first()
    phone.say("start_test_day", {"visit": draft.visit.key}, {"reason": "r", "coordinator": "she"})
    phone.say("note_run", {"run": run.key}, {"inlet_pressure": "7.77 bar"})
    text = words_of(read(crew, "field_sheet_pdf", draft.visit, "a4"))
    assert "7.77" not in text
    assert f"planned {run.flow_point.flow_typed}" in text


def test_every_bottle_has_a_label_whose_code_leads_to_its_row(crew, scene, draft, settings):
    day = day_of(scene.contractor, draft.visit.key)
    labels = labels_of(day)
    texts = [label.text for label in labels]
    assert len(texts) == len(set(texts)) == len(day["benches"][0]["bottles"]) + 1 + 2 * SAMPLES
    pdf = words_of(read(crew, "labels_pdf", draft.visit, "a4"))
    assert all(text in pdf for text in texts)
    assert "60 × 33 mm" in pdf
    again = labels_of(day_of(scene.contractor, draft.visit.key))
    assert again == labels  # the same paper whenever it is printed
    for label in labels:
        [address] = re.findall(r"QR code of the address (\S+?)<", label.qr)
        assert address.startswith(settings.PUBLIC_URL)
        page, of = address.removeprefix(settings.PUBLIC_URL).split("#/b/")
        assert page == reverse("field")  # what a device opens without signal
        test, text = of.split("/")
        assert unquote(text) == label.text
        path = reverse("bottle_at", args=[test, unquote(text)])  # as field/label.js leads on
        early = crew.get(path, follow=True)
        assert "on this bench yet" in early.content.decode()
        assert Client().get(path).status_code == 302  # a stranger is asked to sign in


def test_a_code_opens_the_row_of_its_bottle_and_nobody_elses(crew, scene, draft, phone, sign_in):
    phone.say("start_test_day", {"visit": draft.visit.key}, {"reason": "r", "coordinator": "she"})
    run = draft.runs.select_related("flow_point").get(flow_point__name="minimum")
    bottle = discharge.add_sample(actor=scene.contractor, run=run, at=phone.now)
    path = reverse("bottle_at", args=[draft.key, bottle.label])
    assert bottle.label == "minimum 1"
    answer = crew.get(path)
    assert answer["Location"].endswith(f"#bottle-{bottle.key}")
    assert f'id="bottle-{bottle.key}"' in crew.get(answer["Location"]).content.decode()
    assert sign_in(Client(), scene.owner).get(path).status_code == 404


def test_how_a_bench_is_read_has_its_boxes(crew, scene, draft):
    """What no reading shows: waters, the setting of the compensation, bottles and samples."""
    text = words_of(read(crew, "field_sheet_pdf", draft.visit, "a4"))
    [bench] = day_of(scene.contractor, draft.visit.key)["benches"]
    bench_part = text[text.index("5. Bench") :]
    assert len(bench["asked"]) == 9
    for one in bench["asked"]:
        assert one["label"] in bench_part
        for value, words in one["choices"]:
            assert not value or words in bench_part, words


@pytest.mark.parametrize(
    ("method", "boxes"),
    [
        ("two_flows", ["Where the second meter sits", "Its totaliser before", "as 2:30 or 150 s"]),
        ("draw_down", ["Shape of the vessel", "One step of the level scale", "Level before"]),
        ("weighed", ["The scale may be off by", "Density of the concentrate", "Weight before"]),
        ("other_liquid", ["Flow of this liquid then", "Where that is written", "Compared with"]),
    ],
)
def test_a_direct_test_has_boxes_for_what_its_method_asks(crew, scene, method, boxes):
    if method == "other_liquid":
        measured_test(scene, "two_flows", on=date(2026, 5, 4))  # with foam, to compare with
    liquid = {"liquid": "water"} if method == "other_liquid" else {}
    visit = direct_day(scene, method, **liquid).test.visit
    text = words_of(read(crew, "field_sheet_pdf", visit, "a4"))
    asked = day_of(scene.contractor, visit.key)["direct_asked"][method]
    for one in [*asked["note_setup"], *asked["note_measured"]]:
        assert one["label"] in text, one
    for words in boxes:
        assert words in text, words
    assert text.count("Read at") == 2  # once a flow point
    assert "not percent of the water" in text
    assert "minimum 1" not in text  # it fills no bottle
    assert "5. Bench" not in text
    page = crew.get(reverse("paper", args=[visit.key])).content.decode()
    assert reverse("field_sheet_pdf", args=[visit.key, "a4"]) in page
    assert reverse("labels_pdf", args=[visit.key, "a4"]) not in page
    answer = crew.get(reverse("labels_pdf", args=[visit.key, "a4"]))
    assert answer.status_code == 422
    assert "fills no bottle" in answer.content.decode()


def test_only_what_was_prepared_can_be_printed(crew, scene, sign_in):
    visit = visits.plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    page = crew.get(reverse("paper", args=[visit.key])).content.decode()
    assert "Nothing can be printed yet" in page
    with pytest.raises(Refused, match="prepare a test first"):
        field_sheet(scene.contractor, visit.key, size="a4")
    with pytest.raises(Refused, match="A4, Letter"):
        field_sheet(scene.contractor, visit.key, size="a3")
    assert crew.get(reverse("field_sheet_pdf", args=[visit.key, "a4"])).status_code == 422


def test_the_page_of_the_visit_leads_to_paper_and_to_typing(crew, draft):
    page = crew.get(reverse("visit", args=[draft.visit.key])).content.decode()
    for name in ("paper", "type_in"):
        assert reverse(name, args=[draft.visit.key]) in page
    paper = crew.get(reverse("paper", args=[draft.visit.key])).content.decode()
    for name in ("field_sheet_pdf", "labels_pdf"):
        for size in ("a4", "letter"):
            assert reverse(name, args=[draft.visit.key, size]) in paper
