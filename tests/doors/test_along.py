"""Devices that have a test day on them: whoever hands it in is told of those that may hold more.

How long a silence has to last is the project's own choice.
"""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.test import Client
from django.urls import reverse

from itm.core.errors import NotFound
from itm.doors.along import day_for_device, off_the_device
from itm.records import along
from itm.records.models import Along, ProportioningTest
from tests.checks import checked
from tests.deeds import tested
from tests.factories import OrganisationFactory, actor_of

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
MINE, OTHER = uuid4(), uuid4()


@pytest.fixture
def draft(scene: Any) -> ProportioningTest:
    return tested(scene, until="draft")


def fetch(
    scene: Any, test: ProportioningTest, device: UUID, at: Any = NOON, waiting: str = "0",
    by: Any = None,
) -> list[str]:  # fmt: skip
    day = day_for_device(
        by or scene.contractor,
        test.visit.key,
        said={"device": str(device), "waiting": waiting},
        at=at,
    )
    said: list[str] = day["other_devices"]
    return said


def test_a_device_that_was_silent_is_told_and_the_asking_one_is_not(scene, draft) -> None:
    assert fetch(scene, draft, OTHER) == []
    later = NOON + along.SILENT
    [said] = fetch(scene, draft, MINE, later)
    assert f"The device of {scene.contractor.person} has this day on it" in said
    assert "What was entered on it since is not here" in said
    # It has spoken since: whoever has a signal sends what it holds.
    fetch(scene, draft, OTHER, later)
    assert fetch(scene, draft, MINE, later) == []


def test_a_device_that_said_it_holds_entries_is_told_however_fresh(scene, draft) -> None:
    fetch(scene, draft, OTHER, waiting="3")
    [said] = fetch(scene, draft, MINE, NOON + timedelta(seconds=5))
    assert "still held 3 entries of this day" in said


def test_a_device_from_which_the_day_was_taken_off_is_waited_for_by_nobody(scene, draft) -> None:
    fetch(scene, draft, OTHER)
    off_the_device(scene.contractor, draft.visit.key, said={"device": str(OTHER)})
    assert fetch(scene, draft, MINE, NOON + timedelta(hours=5)) == []


@pytest.fixture
def mate(scene: Any) -> Any:
    """Another one of the crew, who has the same telephone in hand after it."""
    return actor_of(scene.contractor.organisation, role="member")


def test_on_a_shared_device_each_person_has_a_queue(scene, draft, mate) -> None:
    fetch(scene, draft, OTHER, waiting="5")
    soon = NOON + timedelta(minutes=1)
    [said] = fetch(scene, draft, OTHER, soon, by=mate)
    name = scene.contractor.person
    assert f"This device, under the name of {name}, still held 5 entries of this day" in said
    assert f"Let {name} sign in on it and send before this is handed in" in said
    [said] = fetch(scene, draft, MINE, soon, by=mate)
    assert f"The device of {name} still held 5 entries" in said
    # Who holds the telephone now takes away what is its own, and nobody else's.
    off_the_device(mate, draft.visit.key, said={"device": str(OTHER)})
    assert Along.objects.get(device=OTHER).waiting == 5
    off_the_device(scene.contractor, draft.visit.key, said={"device": str(OTHER)})
    assert not Along.objects.filter(device=OTHER).exists()


def test_the_digest_of_the_day_is_that_of_the_day_alone(scene, draft) -> None:
    said = {"device": str(MINE)}
    before = day_for_device(scene.contractor, draft.visit.key, said=said, at=NOON)
    fetch(scene, draft, OTHER, waiting="9")
    after = day_for_device(scene.contractor, draft.visit.key, said=said, at=NOON)
    assert after["other_devices"] != before["other_devices"]
    assert after["digest"] == before["digest"]


@pytest.mark.parametrize("said", [{}, {"device": "no number"}, {"device": "", "waiting": "3"}])
def test_a_page_of_before_says_nothing_and_gets_the_day(scene, draft, said) -> None:
    day = day_for_device(scene.contractor, draft.visit.key, said=said, at=NOON)
    assert day["visit"]["key"] == str(draft.visit.key)
    assert not Along.objects.exists()


@pytest.mark.parametrize("waiting", ["", "-1", "many", "²", "9" * 30])
def test_whatever_a_device_says_of_its_queue_is_kept_as_a_number(scene, draft, waiting) -> None:
    fetch(scene, draft, OTHER, waiting=waiting)
    assert 0 <= Along.objects.get().waiting <= along.MOST_WAITING


def test_so_many_devices_of_one_visit_and_no_more_are_told_apart(scene, draft, monkeypatch) -> None:
    monkeypatch.setattr(along, "MOST", 3)
    for _ in range(5):
        fetch(scene, draft, uuid4())
    assert Along.objects.count() == 3


def test_who_only_looks_at_a_visit_holds_nothing_of_it(scene) -> None:
    test = tested(scene)
    said = {"device": str(OTHER)}
    day_for_device(scene.owner, test.visit.key, said=said, at=NOON)
    assert not Along.objects.exists()


def test_a_stranger_neither_notes_nor_takes_off(scene, draft) -> None:
    fetch(scene, draft, OTHER)
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    for deed in (
        lambda: day_for_device(stranger, draft.visit.key, said={"device": str(MINE)}, at=NOON),
        lambda: off_the_device(stranger, draft.visit.key, said={"device": str(OTHER)}),
    ):
        with pytest.raises(NotFound):
            deed()
    assert Along.objects.get().device == OTHER


def test_the_page_says_it_beside_the_button_that_hands_in(
    scene: Any, client: Client, sign_in: Any
) -> None:
    test = tested(scene, until="draft")
    fetch(scene, test, OTHER, waiting="2")
    sign_in(client, scene.contractor)
    page = client.get(reverse("test", args=[test.key])).content.decode()
    assert "still held 2 entries of this day" in page
    assert ">Hand in</button>" in page


def test_the_page_says_it_beside_the_way_to_sign(scene: Any, client: Client, sign_in: Any) -> None:
    test = tested(scene, until="handed_in")
    fetch(scene, test, OTHER, waiting="2")
    page = sign_in(client, scene.contractor).get(reverse("test", args=[test.key])).content.decode()
    assert "still held 2 entries of this day" in page
    assert "before this is signed: a photo that comes later is not under the seal" in page
    assert ">Sign and seal</a>" in page
    page = sign_in(client, scene.owner).get(reverse("test", args=[test.key])).content.decode()
    assert "still held" not in page


def test_the_page_that_signs_says_it_too(scene: Any, client: Client, sign_in: Any) -> None:
    test = tested(scene, until="handed_in")
    fetch(scene, test, OTHER, waiting="2")
    page = sign_in(client, scene.contractor).get(reverse("sign", args=[test.key]))
    assert "still held 2 entries of this day" in page.content.decode()
    page = client.get(reverse("send_back", args=[test.key]))
    assert "still held" not in page.content.decode()


@pytest.mark.parametrize(("until", "names"), [
    ("draft", ["check"]), ("handed_in", ["check", "check_sign"]),
])  # fmt: skip
def test_the_pages_of_a_check_tell_of_the_devices_of_its_crews_days(
    scene: Any, client: Client, sign_in: Any, until: str, names: list[str]
) -> None:
    """A check has no visit: it comes along with each day of its crew at the site."""
    visit = tested(scene, until="draft")
    check = checked(scene, until=until, on=NOON.date())
    for device in (OTHER, MINE):
        fetch(scene, visit, device, waiting="2")
    sign_in(client, scene.contractor)
    for name in names:
        page = client.get(reverse(name, args=[check.key])).content.decode()
        assert page.count("still held 2 entries of this day") == 1, name
    sign_in(client, scene.owner)
    assert "still held" not in client.get(reverse("site", args=[scene.site.key])).content.decode()


def test_a_device_that_was_silent_since_before_the_check_has_none_of_it(
    scene: Any, draft: ProportioningTest
) -> None:
    check = checked(scene, until="draft", on=NOON.date())
    fetch(scene, draft, OTHER, NOON - timedelta(days=2), waiting="2")
    later = NOON + timedelta(hours=2)
    assert along.may_hold_of(check, later, verb="hand_in") == []
    fetch(scene, draft, OTHER, NOON, waiting="2")
    [said] = along.may_hold_of(check, later, verb="hand_in")
    assert "before this is handed in" in said
