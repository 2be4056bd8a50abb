"""Effluent of a test day from a device and in a document: noted, withdrawn, refused in words."""

from datetime import datetime, timedelta

import pytest

from itm.doors.day import day_of
from itm.doors.document import DocumentRefused
from itm.records import services
from itm.records.models import EffluentLine
from tests.deeds import prepared
from tests.doors.documents import day_document, handed_in
from tests.doors.phone import MORNING, Phone, states
from tests.factories import OrganisationFactory, actor_of


@pytest.fixture
def phone(scene):
    return Phone(scene.contractor)


@pytest.fixture
def visit(scene):
    return prepared(scene, on=MORNING.date()).test.visit


def collected(phone, visit, **texts):
    return phone.note(
        "note_effluent", {"visit": visit.key},
        {"kind": "collected", "volume": "3100 L", "place": "Bund of the tank area", **texts},
    )  # fmt: skip


def test_what_was_noted_without_signal_stands_on_the_day(scene, phone, visit):
    raws = [
        phone.note(
            "note_effluent", {"visit": visit.key},
            {"kind": "discharged", "volume": "3200 L", "percent": "3,2"},
        ),
        collected(phone, visit),
    ]  # fmt: skip
    assert states(phone.send(raws)) == {"taken"}
    assert states(phone.send(raws)) == {"taken_before"}
    out, kept = EffluentLine.objects.order_by("pk")
    assert (str(out.key), out.volume_typed, str(out.percent)) == (raws[0]["key"], "3200 L", "3.20")
    assert (kept.visit, kept.happened_on, kept.place) == (
        visit, MORNING.date(), "Bund of the tank area",
    )  # fmt: skip
    assert kept.pfas == "unknown"  # by the book of the tank, whose lot does not say
    lines = day_of(scene.contractor, visit.key)["effluent"]
    assert [(one["key"], one["volume"]) for one in lines] == [
        (raws[0]["key"], "3200 L"), (raws[1]["key"], "3100 L"),
    ]  # fmt: skip


def test_a_wrong_one_is_withdrawn_though_both_wait_in_one_queue(scene, phone, visit):
    wrong = collected(phone, visit, volume="31 L")
    back = phone.note(
        "withdraw_effluent", {"effluent": wrong["key"]}, {"because": "a zero was missing"}
    )
    [alone] = phone.send([back])
    assert alone.code == "waits"
    assert states(phone.send([wrong, back])) == {"taken"}
    row = EffluentLine.objects.get()
    assert row.withdrawn_because == "a zero was missing"
    assert day_of(scene.contractor, visit.key)["effluent"] == []


@pytest.mark.parametrize(
    ("texts", "place"),
    [
        ({"kind": "lost"}, "kind"),
        ({"kind": "collected", "volume": "3100 L"}, "place"),
        ({"kind": "collected", "volume": "3100", "place": "Bund"}, "volume"),
        ({"kind": "hauled", "volume": "3 m³", "place": "A plant", "hauler": "H"}, "paper"),
        ({"kind": "collected", "volume": "3 m³", "place": "Bund", "hauler": "H"}, "hauler"),
    ],
)  # fmt: skip
def test_what_is_missing_or_unknown_is_told_at_its_place(phone, visit, texts, place):
    [answer] = phone.send([phone.note("note_effluent", {"visit": visit.key}, texts)])
    assert not answer.taken
    assert answer.place == place
    assert not EffluentLine.objects.exists()


def test_a_day_that_has_not_begun_is_waited_for(scene, phone):
    visit = services.plan_visit(actor=scene.contractor, site=scene.site, planned_on=MORNING.date())
    [answer] = phone.send([collected(phone, visit)])
    assert (answer.state, answer.code) == ("refused", "waits")


def test_others_note_and_withdraw_nothing(scene, phone, visit):
    raw = collected(phone, visit)
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    assert states(stranger.send([raw])) != {"taken"}
    phone.send([raw])
    back = stranger.note("withdraw_effluent", {"effluent": raw["key"]}, {"because": "mine"})
    [answer] = stranger.send([back])
    assert not answer.taken
    assert EffluentLine.objects.get().withdrawn_at is None


def test_a_document_holds_it_as_well(scene):
    document = day_document(scene)
    at = datetime.fromisoformat(document["start"]["at"]) + timedelta(hours=6)
    document["effluent"] = [
        {"kind": "discharged", "volume": "5200 L", "at": at.isoformat()},
        {"kind": "hauled", "volume": "5 m³", "place": "A plant", "hauler": "H", "paper": "W-1",
         "at": at.isoformat()},
    ]  # fmt: skip
    handed_in(scene, document, at + timedelta(days=1))
    assert sorted(EffluentLine.objects.values_list("kind", "volume_typed")) == [
        ("discharged", "5200 L"), ("hauled", "5 m³"),
    ]  # fmt: skip


def test_a_document_is_told_where_a_line_of_it_is_wrong(scene):
    document = day_document(scene)
    at = datetime.fromisoformat(document["start"]["at"]) + timedelta(days=1)
    document["effluent"] = [{"kind": "collected", "volume": "5200 L", "at": at.isoformat()}]
    with pytest.raises(DocumentRefused) as refused:
        handed_in(scene, document, at)
    assert {one.place for one in refused.value.problems} == {"/effluent/0/place"}
    assert not EffluentLine.objects.exists()
