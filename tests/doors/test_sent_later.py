"""What was begun with no signal on the last day of an engagement comes in some days late.

The bound is our own choice (`LATE`), no published source.
"""

import io
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest

from itm.doors.photos import take_photo
from itm.records.drafts import LATE
from itm.records.models import ConcentrateCheck, ConcentrateSample, Move, ProportioningTest
from tests.checks import lot_of
from tests.doors.phone import MORNING, Phone, started
from tests.factories import OrganisationFactory, ProportionerFactory, actor_of
from tests.itm.registry.pictures import picture

PERIODIC = {"purpose": "periodic", "checked_on": MORNING.date().isoformat()}
DAY = timedelta(days=1)


def over(scene) -> None:
    """The day of the phone was the last."""
    grant = scene.site.grants.get()
    grant.ends_on = MORNING.date()
    grant.save(by=scene.owner)


def later(phone: Phone, by: timedelta, clock: timedelta = timedelta(0)) -> Phone:
    """The same phone with its queue, after its engagement; its own clock off by `clock`."""
    now = phone.now + by
    actor = replace(phone.actor, at=now, today=now.date())
    return Phone(actor, now=now + clock, queue=list(phone.queue))


def begun(scene, phone, **texts):
    lot_of(scene)
    made = phone.note("begin_check", {"tank": scene.tank.key}, {**PERIODIC, **texts})
    phone.note("add_check_sample", {"check": made["key"]}, {"point": "top", "label": "T 1"})
    return made


def test_a_check_begun_on_the_last_day_comes_in_late_with_its_bottle_and_says_so(scene, phone):
    begun(scene, phone)
    over(scene)
    late = later(phone, LATE - DAY)
    answers = late.send()
    assert all(one.taken for one in answers), answers
    check = ConcentrateCheck.objects.get()
    assert (check.checked_on, check.state) == (MORNING.date(), "draft")
    assert ConcentrateSample.objects.get().label == "T 1"
    assert "sent later, on 17 Jun 2026" in Move.objects.get(concentrate_check=check).reason
    assert all(one.state == "taken_before" for one in late.send())


def test_one_that_was_sent_in_time_says_nothing_of_it(scene, phone):
    begun(scene, phone)
    assert all(one.taken for one in phone.send())
    assert Move.objects.get(concentrate_check__isnull=False).reason == ""


def test_beyond_the_bound_it_is_refused_and_says_who_can_help(scene, phone):
    begun(scene, phone)
    over(scene)
    first, second = later(phone, LATE + DAY).send()
    assert (first.state, second.code) == ("not_found", "waits")
    assert not ConcentrateCheck.objects.exists()


@pytest.mark.parametrize("begun_after", [timedelta(hours=20), 2 * DAY])
def test_what_was_begun_after_the_last_day_does_not_come_in(scene, phone, begun_after):
    over(scene)
    late = later(phone, begun_after)
    begun(scene, late, checked_on=MORNING.date().isoformat())
    assert late.send()[0].state == "forbidden"


def test_a_clock_that_was_set_back_opens_nothing(scene, phone):
    """Two days after the end, on a phone whose clock stands on the last day."""
    over(scene)
    set_back = later(phone, 2 * DAY, clock=-2 * DAY)
    begun(scene, set_back)
    answers = set_back.send(ahead=-2 * DAY)
    assert answers[0].state == "forbidden"


def test_bottles_of_a_day_without_an_engagement_do_not_come_in_late(scene, phone):
    grant = scene.site.grants.get()
    grant.starts_on = MORNING.date()
    grant.save(by=scene.owner)
    begun(scene, phone, checked_on=(MORNING - 5 * DAY).date().isoformat())
    over(scene)
    answer = later(phone, DAY).send()[0]
    assert (answer.code, answer.place) == ("not_engaged_then", "checked_on")


def test_who_was_never_engaged_finds_no_tank(scene):
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")))
    begun(scene, stranger)
    assert stranger.send()[0].state == "not_found"


def test_a_test_begun_on_the_last_day_comes_in_late_and_says_so(scene, draft, phone):
    started(phone, draft)
    device = ProportionerFactory(system=scene.system, tank=scene.tank)
    put = {
        "proportioner": str(device.key), "purpose": "periodic",
        "instrument": str(scene.instrument.key),
    }  # fmt: skip
    phone.note("begin_test", {"visit": draft.visit.key}, put)
    over(scene)
    assert later(phone, LATE + DAY).send()[0].state == "forbidden"
    [answer] = later(phone, LATE - DAY).send()
    assert answer.taken, answer
    test = ProportioningTest.objects.get(proportioner=device)
    assert test.tested_on == MORNING.date()
    assert "sent later" in Move.objects.get(test=test).reason


def test_a_photo_of_that_day_comes_in_after_it(scene, draft, phone):
    taken_at = phone.now
    over(scene)
    late = later(phone, LATE - DAY)
    answer = take_photo(
        actor=late.actor, key=str(uuid4()), of={"visit": str(draft.visit.key)},
        file=io.BytesIO(picture()), name="tank.png", taken_at=taken_at.isoformat(), at=late.now,
        device_now=late.now,
    )  # fmt: skip
    assert answer.taken, answer
