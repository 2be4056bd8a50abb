"""A round of the owner's own people with no signal and no visit, by the action of the page."""

import io
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest

from itm.accounts.actor import acting
from itm.core.errors import NotFound
from itm.doors.along import day_for_device, off_the_device
from itm.doors.day_round import rounds_of
from itm.doors.photos import take_photo
from itm.records.models import DeviceClock, Inspection, InspectionLine
from tests.deeds import look_duty
from tests.doors.looking import LOOK
from tests.doors.phone import MORNING, Phone, states
from tests.factories import MembershipFactory, OrganisationFactory, SiteFactory, actor_of
from tests.itm.registry.pictures import picture


@pytest.fixture
def own(scene):
    """A member of the owner with a phone; no further role is asked."""
    member = MembershipFactory(organisation=scene.owner.organisation, role="member")
    return Phone(acting(member, scene.owner.today, via="field", at=MORNING))


def seen(own, duty, answers=LOOK, **texts):
    put = {"duty": str(duty.key), "answers": list(answers), **texts}
    return own.note("inspect_site", {"site": duty.site.key}, put)


def day(actor, site, now=MORNING):
    return day_for_device(actor, site.key, said={}, at=now)


def test_the_owners_own_round_completes_its_duty_without_a_visit(scene, own):
    duty = look_duty(scene)
    told = day(own.actor, scene.site)
    assert told["kind"] == "round"
    assert [one["key"] for one in told["inspection"]["tasks"]] == [str(duty.key)]
    assert told["inspection"]["may"] is True
    raw = seen(own, duty, note="seen from the walkway")
    [answer] = own.send()
    assert (answer.state, answer.now["outcome"]) == ("taken", "in_order")
    line = InspectionLine.objects.get()
    assert (str(line.key), line.inspection.visit, line.inspection.organisation) == (
        raw["key"], None, scene.owner.organisation,
    )  # fmt: skip
    duty.refresh_from_db()
    assert duty.done_by_record == line.inspection.key
    assert own.send([raw])[0].state == "taken_before"
    after = day(own.actor, scene.site)
    assert [one["key"] for one in after["inspection"]["noted"]] == [raw["key"]]
    assert after["digest"] != told["digest"]


def test_two_of_one_task_are_asked_as_on_a_visit(scene, own):
    duty = look_duty(scene)
    other = Phone(
        acting(MembershipFactory(organisation=scene.owner.organisation), scene.owner.today)
    )
    seen(own, duty)
    seen(other, duty, note="a drop under the valve")
    assert states(own.send()) == {"taken"}
    [asked] = other.send()
    assert asked.state == "crossed"
    assert asked.now["note"] == ""
    same = Phone(other.actor)
    seen(same, duty)
    assert same.send()[0].code == "stood_already"


def test_one_person_on_one_day_makes_one_round_and_a_clock_that_is_wrong_another(scene, own):
    duty = look_duty(scene)
    seen(own, duty, answers=[], reason="the gate is locked")
    assert states(own.send()) == {"taken"}
    own.queue.clear()
    seen(own, duty)
    [answer] = own.send(ahead=timedelta(minutes=12))
    assert answer.taken, answer
    rounds = Inspection.objects.order_by("pk")
    assert len(rounds) == 2
    assert rounds[1].note == "Noted on a device with its clock 12 min ahead."
    assert not DeviceClock.objects.exists()


def test_a_photo_that_a_task_wants_goes_first(scene, own):
    duty = look_duty(scene)
    of = {"duty": str(duty.key), "site": str(scene.site.key)}
    key = uuid4()
    answer = take_photo(
        actor=own.actor, key=str(key), of=of, file=io.BytesIO(picture()), name="valve.png",
        taken_at=own.now.isoformat(), at=own.now,
    )  # fmt: skip
    assert answer.taken, answer
    assert answer.now["duty"] == str(duty.key)


def test_it_is_the_owners_alone_and_only_its_own_sites(scene, own):
    duty = look_duty(scene)
    for actor in (scene.contractor, scene.authority, actor_of(OrganisationFactory(kind="owner"))):
        with pytest.raises(NotFound):
            day(actor, scene.site)
        assert rounds_of(actor) == []
    other = Phone(actor_of(OrganisationFactory(kind="owner")))
    seen(other, duty)
    assert other.send()[0].state == "not_found"
    watching = Phone(scene.authority)
    seen(watching, duty)
    assert watching.send()[0].state == "forbidden"
    elsewhere = SiteFactory(owner=scene.owner.organisation)
    raw = seen(own, duty)
    raw["of"] = {"site": str(elsewhere.key)}
    assert own.send([raw])[0].state == "not_found"
    assert not InspectionLine.objects.exists()


def test_the_list_has_the_sites_where_something_is_to_be_done(scene, own):
    assert rounds_of(own.actor) == []
    look_duty(scene)
    SiteFactory(owner=scene.owner.organisation)
    [told] = rounds_of(own.actor)
    assert (told["key"], told["tasks"], told["kind"]) == (str(scene.site.key), 1, "round")


def test_nobody_waits_for_a_round_so_no_device_is_noted(scene, own):
    with pytest.raises(NotFound):
        off_the_device(own.actor, scene.site.key, said={"device": str(uuid4())})


def test_a_day_on_which_it_was_done_late_stays_that_of_the_stamp(scene, own):
    duty = look_duty(scene)
    seen(own, duty)
    late = replace(own, now=own.now + timedelta(days=2), queue=list(own.queue))
    late.actor = replace(own.actor, at=late.now, today=late.now.date())
    assert states(late.send()) == {"taken"}
    assert Inspection.objects.get().done_on == MORNING.date()
