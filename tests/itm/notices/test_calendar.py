"""The calendar as other programs read it: parsed back by the library, never by our own eyes."""

import re
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from icalendar import Calendar

from itm.accounts.models import Organisation
from itm.actions import adopt as adopting
from itm.actions import relocate
from itm.actions import retire as retiring
from itm.actions.settle_rows import confirm
from itm.actions.shift_duties import shift_duties
from itm.core.errors import NotFound
from itm.notices import calendar, services
from itm.notices.calendar import feed
from itm.notices.models import Wish
from itm.registry.models import Proportioner
from itm.schedule import shifting
from itm.schedule.due import Result
from itm.schedule.models import Duty, Programme, Requirement
from itm.schedule.services import refresh, start_duties
from itm.schedule.shifting import Shift
from itm.schedule.standing import stand
from tests.deeds import tested
from tests.factories import (
    TODAY,
    EquipmentFactory,
    FoamSystemFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteFactory,
    actor_of,
)
from tests.itm.schedule.many import many_duties

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def events(actor, now=NOW) -> dict[str, dict]:
    """By UID. RFC 5545 asks for PRODID and VERSION of the calendar, UID and DTSTAMP of an event."""
    read = Calendar.from_ical(feed(actor, now))
    assert read["version"] == "2.0"
    assert read["prodid"]
    found = {}
    for event in read.walk("VEVENT"):
        assert event.errors == []
        assert event["dtstamp"].dt.tzinfo is not None
        assert str(event["uid"]) not in found
        found[str(event["uid"])] = event
    return found


@pytest.fixture
def duty(scene) -> Duty:
    """Tested on 15 September 2025: due a year later, the window closes on 15 December."""
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    done(scene, date(2025, 9, 15))
    return Duty.objects.get(done_on=None)


def done(scene, *days: date) -> None:
    results = [Result(day, "in band", "settled", "periodic", "as_found", uuid4()) for day in days]
    refresh(actor=scene.owner, proportioner=scene.proportioner, results=results)


def test_a_duty_is_an_all_day_event_on_the_day_it_is_due(scene, duty):
    [event] = events(scene.owner).values()
    assert event["dtstart"].dt == date(2026, 9, 15)
    assert not isinstance(event["dtstart"].dt, datetime)
    assert event["dtstart"].params["VALUE"] == "DATE"
    assert event["dtend"].dt == date(2026, 9, 16)  # RFC 5545 3.6.1: the end is not included
    assert event["uid"].startswith(f"{duty.key}@")
    assert event["status"] == "CONFIRMED"
    assert scene.site.name in event["summary"]
    assert scene.system.name in event["summary"]
    assert "Window from 15 Jun 2026 to 15 Dec 2026" in event["description"]
    assert duty.requirement.source in event["description"].replace("\n", " ")
    assert event["url"].endswith(reverse("proportioner", args=[scene.proportioner.key]))


def test_lines_are_folded_and_ended_as_the_rfc_says(scene, duty):
    """RFC 5545 3.1: lines end with CRLF and hold at most 75 octets."""
    scene.site.name = "Ölhafen, Pier 7; “Süd” \\ with a long name that has to be folded somewhere"
    scene.site.save(by=scene.owner)
    text = feed(scene.owner, NOW)
    lines = text.split(b"\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    [event] = events(scene.owner).values()
    assert scene.site.name in event["summary"]


def test_a_moved_day_keeps_its_uid_and_counts_up(scene, duty):
    [(uid, before)] = events(scene.owner).items()
    done(scene, date(2025, 9, 20))
    after = events(scene.owner)[uid]
    assert after["dtstart"].dt == date(2026, 9, 20)
    assert after["sequence"] > before["sequence"]
    assert after["last-modified"].dt >= before["last-modified"].dt


def test_what_is_done_is_cancelled_and_the_next_one_has_a_uid_of_its_own(scene, duty):
    [(uid, before)] = events(scene.owner).items()
    done(scene, date(2025, 9, 15), date(2026, 6, 15))
    found = events(scene.owner)
    assert found[uid]["status"] == "CANCELLED"
    assert found[uid]["sequence"] > before["sequence"]
    assert "Done on 15 Jun 2026" in found[uid]["description"]
    [follower] = [event for key, event in found.items() if key != uid]
    assert (follower["status"], follower["dtstart"].dt) == ("CONFIRMED", date(2027, 6, 15))


def test_retired_is_cancelled_and_taken_back_counts_up_again(scene):
    scene.system.commissioned_on = date(2025, 9, 15)
    scene.system.save(by=scene.owner)
    scene.proportioner.system = scene.system
    start_duties(actor=scene.owner, proportioner=scene.proportioner)
    [(uid, first)] = events(scene.owner).items()
    counted = [first["sequence"]]
    retiring.retire(actor=scene.owner, row=scene.proportioner, on=TODAY, today=TODAY)
    assert events(scene.owner)[uid]["status"] == "CANCELLED"
    counted.append(events(scene.owner)[uid]["sequence"])
    retiring.take_back(actor=scene.owner, row=scene.proportioner, at=NOW)
    assert events(scene.owner)[uid]["status"] == "CONFIRMED"
    counted.append(events(scene.owner)[uid]["sequence"])
    assert counted == sorted(set(counted))


def test_a_batch_counts_up_in_every_event_that_it_moves(scene, duty):
    """RFC 5546 2.1.4: a reader keeps the highest SEQUENCE it has seen."""
    start_duties(actor=scene.owner, tank=scene.tank)
    before = events(scene.owner)
    duties = list(shifting.own_open(scene.owner))
    assert len(duties) == len(before) == 2
    shift_duties(actor=scene.owner, duties=duties, by=Shift(days=1), why="one journey")
    moved = events(scene.owner)
    for uid, event in moved.items():
        assert event["dtstart"].dt == before[uid]["dtstart"].dt + timedelta(days=1)
    shift_duties(actor=scene.owner, duties=duties, by=Shift(), why="")
    back = events(scene.owner)
    for uid, event in before.items():
        assert event["sequence"] < moved[uid]["sequence"] < back[uid]["sequence"]
        assert event["last-modified"].dt <= moved[uid]["last-modified"].dt


def test_what_an_end_of_a_programme_withdraws_is_cancelled_with_a_higher_number(scene):
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    site = SiteFactory(owner=scene.owner.organisation)
    EquipmentFactory(site=site)
    adoption, _ = adopting.adopt(actor=scene.owner, programme=programme, starts_on=TODAY, site=site)
    row = programme.requirements.get(code="N25-25")
    confirm(
        actor=scene.owner, adoption=adoption, requirements=[row], checked_against="it", today=TODAY
    )
    before = events(scene.owner)
    adopting.end(actor=scene.owner, adoption=adoption, ends_on=TODAY)
    after = events(scene.owner)
    gone = [uid for uid in before if after[uid]["status"] == "CANCELLED"]
    assert gone
    assert all(after[uid]["sequence"] > before[uid]["sequence"] for uid in gone)


def test_a_number_never_falls_when_a_thing_comes_to_a_place_with_less_history(scene):
    scene.system.commissioned_on = date(2025, 9, 15)
    scene.system.save(by=scene.owner)
    for name in ("Foam, east", "Foam, west", "Foam, pier"):
        scene.system.name = name
        scene.system.save(by=scene.owner)
    device = Proportioner.objects.get(pk=scene.proportioner.pk)
    start_duties(actor=scene.owner, proportioner=device)
    [(uid, before)] = events(scene.owner).items()
    relocate.relocate(
        actor=scene.owner, row=device, system=FoamSystemFactory(site=scene.site), tank=device.tank,
        on=TODAY, today=TODAY,
    )  # fmt: skip
    after = events(scene.owner)[uid]
    assert after["summary"] != before["summary"]
    assert after["sequence"] > before["sequence"]


def test_a_tank_with_another_name_counts_up_for_what_stands_at_it(scene):
    equipment = EquipmentFactory(site=scene.site, system=None, tank=scene.tank)
    requirement = Requirement.objects.filter(task=Requirement.Task.INSPECTION)[0]
    duty = Duty(
        site=scene.site, requirement=requirement, equipment=equipment, counts_from=TODAY,
        window_opens_on=TODAY, due_on=TODAY, latest_on=TODAY,
    )  # fmt: skip
    stand(duty, TODAY)
    duty.save(by=scene.owner)
    [(uid, before)] = events(scene.owner).items()
    scene.tank.tag = "T-renamed"
    scene.tank.save(by=scene.owner)
    after = events(scene.owner)[uid]
    assert "T-renamed" in after["summary"]
    assert after["sequence"] > before["sequence"]


def test_the_newest_seal_of_the_site_travels_with_the_calendar(scene):
    test = tested(scene)
    digests = {
        event["description"].count(test.seal.digest) for event in events(scene.owner).values()
    }
    assert digests == {1}


def test_everybody_reads_what_is_theirs(scene, duty):
    stranger = actor_of(OrganisationFactory(kind=Organisation.Kind.OWNER))
    assert len(events(scene.owner)) == len(events(scene.authority)) == 1
    calibration = f"Calibration - {scene.instrument}"  # of the contractor's own instrument
    summaries = {str(event["summary"]) for event in events(scene.contractor).values()}
    assert summaries == {calibration, *(str(e["summary"]) for e in events(scene.owner).values())}
    assert events(stranger) == {}


def test_a_calendar_costs_the_same_queries_for_ten_events_and_for_eight_hundred(scene):
    def cost() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as captured:
            count = len(events(scene.owner))
        return len(captured), count

    many_duties([scene.site], 10, begun=TODAY, days=100)
    few, some = cost()
    many_duties([SiteFactory(owner=scene.owner.organisation)], 400, begun=TODAY, days=100)
    many, all_of_them = cost()
    assert (some, all_of_them) == (10, 410)
    assert many == few <= 6


# The address -------------------------------------------------------------------------------------


def test_what_is_to_come_goes_before_what_is_past_and_the_calendar_says_what_it_leaves_out(
    scene, monkeypatch
):
    for month in range(1, 13):
        row = ProportionerFactory(system=scene.system)
        start_duties(actor=scene.owner, proportioner=row)
        result = Result(
            date(2025, month, 15), "in band", "settled", "periodic", "as_found", uuid4()
        )
        refresh(actor=scene.owner, proportioner=row, results=[result])
    monkeypatch.setattr(calendar, "MOST_EVENTS", 9)
    read = Calendar.from_ical(feed(scene.owner, NOW))
    kept = [event["dtstart"].dt for event in read.walk("VEVENT")]
    ahead = [date(2026, month, 15) for month in range(6, 13)]
    assert kept == [*ahead, date(2026, 5, 15), date(2026, 4, 15)]
    assert str(read["description"]).startswith("3 that are longest past are left out")
    monkeypatch.setattr(calendar, "MOST_EVENTS", 12)
    assert "description" not in Calendar.from_ical(feed(scene.owner, NOW))


def test_whoever_knows_the_address_reads_it_without_signing_in(client, scene, duty):
    token = services.new_feed(actor=scene.owner, at=NOW)
    assert len(token) >= 43  # 256 bits in base64
    assert token not in str(Wish.objects.values().get())
    answer = client.get(reverse("calendar_feed", args=[token]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "private" in answer["Cache-Control"]
    assert Calendar.from_ical(answer.content).walk("VEVENT")
    assert client.head(reverse("calendar_feed", args=[token])).status_code == 200


def test_a_new_address_ends_the_old_one_and_an_end_ends_both(client, scene):
    first = services.new_feed(actor=scene.owner, at=NOW)
    second = services.new_feed(actor=scene.owner, at=NOW)
    answers = [client.get(reverse("calendar_feed", args=[t])).status_code for t in (first, second)]
    assert answers == [404, 200]
    services.end_feed(actor=scene.owner)
    services.end_feed(actor=scene.owner)
    assert client.get(reverse("calendar_feed", args=[second])).status_code == 404
    assert client.get(reverse("calendar_feed", args=["guessed"])).status_code == 404


@pytest.mark.parametrize("left", ["membership", "person"])
def test_who_has_left_reads_no_more(scene, left):
    token = services.new_feed(actor=scene.owner, at=NOW)
    assert services.reader_of(token, NOW).organisation == scene.owner.organisation
    membership = services.membership_of(scene.owner)
    if left == "membership":
        membership.ended_on = TODAY
        membership.save(by=scene.owner)
    else:
        membership.user.is_active = False
        membership.user.save(by=scene.owner)
    with pytest.raises(NotFound):
        services.reader_of(token, NOW)


def test_the_page_shows_the_address_once(client, scene, sign_in):
    sign_in(client, scene.owner)
    text = client.post(reverse("feed_new"), follow=True).content.decode()
    [token] = re.findall(r"/calendar/([\w-]+)\.ics", text)
    assert client.get(reverse("calendar_feed", args=[token])).status_code == 200
    again = client.get(reverse("notices")).content.decode()
    assert token not in again
    assert "An address is in use since" in again
    assert "no longer works" in client.post(reverse("feed_end"), follow=True).content.decode()
