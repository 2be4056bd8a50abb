"""Water of the system and effluent have their lines on paper, and where it is typed in."""

from datetime import date

import pytest
from django.test import Client

from itm.doors.blank_sheets import field_sheet, labels_of
from itm.doors.day import day_of
from itm.records import bench
from itm.records.models import Bottle, EffluentLine
from tests.doors.test_filled_sheet import NOON, Page
from tests.itm.reports.archival import text as text_of


@pytest.fixture
def page(scene, draft, sign_in, time_machine):
    time_machine.move_to(NOON, tick=False)
    page = Page(sign_in(Client(), scene.contractor), draft)
    page.actor = scene.contractor
    return page


def begun(page):
    page.put(
        f"start_test_day.{page.test.visit.key}", reason="annual test", coordinator="the owner",
        at="8:05",
    )  # fmt: skip


@pytest.mark.parametrize("stands", [False, True])
def test_the_water_of_the_system_has_one_label_and_one_row(scene, draft, stands):
    """Paper is printed before anybody knows whether that water is wanted."""
    if stands:
        bench.add_system_water(actor=scene.contractor, bench=draft.bench)
    texts = [one.text for one in labels_of(day_of(scene.contractor, draft.visit.key))]
    assert texts.count("system water") == 1
    sheet = text_of(field_sheet(scene.contractor, draft.visit.key, size="a4"))
    assert sheet.split("5. Bench")[1].count("system water") == 1


def test_a_reading_of_the_systems_water_puts_its_bottle_on_the_bench(page):
    begun(page)
    key = page.test.bench.key
    [first, _] = page.names("add_reading.", str(_system_water(page)))
    page.put(first, value="1.3330", temperature="20.0", at="14:00")
    page.send()
    assert page.status == 200, page.text
    [bottle] = Bottle.objects.filter(role="system_water")
    assert (bottle.bench.key, bottle.label) == (key, "system water")
    assert [one.value_typed for one in bottle.readings.all()] == ["1.3330"]
    assert len(page.names("add_reading.", str(bottle.key))) == 1  # one more box, as for any bottle
    page.send()
    assert "Nothing new was typed" in page.text


def test_without_a_reading_no_water_of_the_system_is_put_there(page):
    begun(page)
    [first, *_] = page.names("add_reading.", _key_of(page, "water"))
    page.put(first, value="1.3330", temperature="20.0", at="14:00")
    page.send()
    assert page.status == 200
    assert not Bottle.objects.filter(role="system_water").exists()


def test_effluent_is_typed_in_as_it_was_written(page, time_machine):
    begun(page)
    lines = _by_kind(page)
    assert list(lines) == ["discharged", "collected", "released", "hauled", ""]
    time_machine.move_to(NOON.replace(day=17), tick=False)  # typed in two days later
    page.put(lines["discharged"], volume="3200", percent="3.2")
    page.put(
        lines["hauled"], volume="3100 L", place="Plant of Rua", hauler="Haulers", paper="W-17",
        happened_on="2026-06-16",
    )  # fmt: skip
    page.put(lines["collected"], volume="3,100", place="Bund")
    page.send()
    assert page.status == 422
    assert page.boxes[f"{lines['collected']}.volume"] == "3,100"
    assert _by_kind(page)["collected"] == lines["collected"]  # the same line as before
    out, gone = EffluentLine.objects.order_by("kind")
    assert (out.kind, out.volume_typed, str(out.percent)) == ("discharged", "3200 L", "3.20")
    assert out.happened_on == date(2026, 6, 15)  # of the sheet, not of the typing
    assert (gone.kind, gone.hauler, gone.paper, gone.happened_on) == (
        "hauled", "Haulers", "W-17", date(2026, 6, 16),
    )  # fmt: skip
    page.put(lines["collected"], volume="3100 L")
    page.send()
    assert page.status == 200
    assert EffluentLine.objects.count() == 3
    assert "3100 L, Bund" in page.text
    page.send()
    assert "Nothing new was typed" in page.text
    assert EffluentLine.objects.count() == 3


def test_effluent_without_what_its_kind_needs_comes_back_with_a_sentence(page):
    begun(page)
    lines = _by_kind(page)
    page.put(lines["hauled"], volume="3100 L")
    page.put(lines[""], volume="20 L")
    page.send()
    assert page.status == 422
    assert "Say which of these it is" in page.text
    assert page.text.count('class="error"') == 2
    assert not EffluentLine.objects.exists()


def test_paper_asks_of_each_kind_what_the_page_asks(scene, draft):
    told = day_of(scene.contractor, draft.visit.key)
    sheet = text_of(field_sheet(scene.contractor, draft.visit.key, size="letter"))
    part = sheet[sheet.index("6. Effluent") : sheet.index("7. Remarks")]
    for kind in told["effluent_asked"]:
        assert kind["label"] in part
    for words in ("Who took it away", "Number of the paper", told["cautions"]["effluent"][:40]):
        assert words in part, words


def _by_kind(page):
    """The first free line of each kind, as the page offers them."""
    out = {}
    for line in page.names("note_effluent."):
        out.setdefault(page.boxes[f"{line}.kind"], line)
    return out


def _system_water(page):
    [told] = day_of(page.actor, page.test.visit.key)["benches"]
    return told["system_water"]


def _key_of(page, label):
    [told] = day_of(page.actor, page.test.visit.key)["benches"]
    return next(one["key"] for one in told["bottles"] if one["label"] == label)
