"""A photo of a bottle hangs on its check: the crew's own until the seal, which holds its digest."""

import hashlib
import io
import json
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from itm.actions.hand_in import hand_in
from itm.actions.sign import sign
from itm.actions.withdraw_file import withdraw_file
from itm.core.errors import Conflict
from itm.doors.day import day_of
from itm.doors.photos import take_photo
from itm.records import chain
from itm.records.models import ConcentrateCheck, DeviceClock, Photo, Seal
from itm.registry import queries_attachments
from itm.registry.models import Attachment
from tests.checks import checked, lot_of
from tests.doors.phone import Phone
from tests.itm.registry.pictures import picture

PICTURE = picture()


def photo(phone, of, key=None, **more):
    return take_photo(
        actor=phone.actor, key=str(key or uuid4()), of=of, file=io.BytesIO(PICTURE),
        name="IMG_17.png", at=phone.now, taken_at=phone.now.isoformat(), **more,
    )  # fmt: skip


@pytest.fixture
def check(scene, phone) -> ConcentrateCheck:
    return checked(scene, until="draft", on=phone.now.date())


def of_bottle(check):
    return {"sample": str(check.samples.first().key)}


def sees(actor, tank) -> bool:
    return bool(queries_attachments.attachments_of(actor, tank))


def test_it_hangs_on_the_bottle_and_stands_in_the_day(draft, phone, check):
    key = uuid4()
    assert photo(phone, of_bottle(check), key=key).taken
    row = Photo.objects.get(key=key)
    sample = check.samples.first()
    assert (row.sample, row.visit, row.taken_by) == (sample, None, phone.actor.person)
    assert (row.attachment.tank, row.attachment.held_back) == (check.tank, True)
    assert row.attachment.caption.startswith(f"Bottle {sample.label}")
    told = day_of(phone.actor, draft.visit.key)["photos"]
    assert [(one["key"], one["of"]) for one in told] == [(str(key), of_bottle(check))]


def test_one_of_a_bottle_that_has_not_come_in_waits(scene, phone):
    lot_of(scene)
    made = phone.note("begin_check", {"tank": scene.tank.key}, {"purpose": "periodic"})
    bottle = phone.note("add_check_sample", {"check": made["key"]}, {"point": "top", "label": "T"})
    of = {"sample": bottle["key"]}
    early = photo(phone, of)
    assert (early.state, early.code) == ("refused", "waits")
    assert all(one.taken for one in phone.send())
    assert photo(phone, of).taken


def test_the_seal_releases_it_and_holds_its_digest(scene, phone, client, sign_in):
    check = checked(scene, until="draft")
    assert photo(phone, of_bottle(check)).taken
    assert not sees(scene.owner, check.tank)
    at = phone.now + timedelta(hours=8)
    hand_in(actor=scene.contractor, key=check.key, at=at)
    assert not sees(scene.authority, check.tank)
    sign(
        actor=scene.contractor, key=check.key, at=at, name="A signatory",
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip
    assert sees(scene.owner, check.tank)
    assert sees(scene.authority, check.tank)
    form = json.loads(bytes(Seal.objects.get().document))
    [told] = form["photos"]
    assert (form["form"], told["sha256"]) == (3, hashlib.sha256(PICTURE).hexdigest())
    assert list(chain.verify()) == []
    for actor in (scene.contractor, scene.owner):
        page = sign_in(client, actor).get(reverse("check", args=[check.key])).content.decode()
        assert f"Photos of {check.samples.first().label}" in page


def test_it_stays_once_the_check_is_handed_in_and_is_withdrawn_before(scene, phone):
    check = checked(scene, until="draft")
    for kept in (False, True):
        assert photo(phone, of_bottle(check)).taken
        row = Attachment.objects.get(withdrawn_at=None)
        if kept:
            hand_in(actor=scene.contractor, key=check.key, at=phone.now + timedelta(hours=8))
            with pytest.raises(Conflict, match="check of the concentrate"):
                withdraw_file(actor=scene.contractor, row=row, why="a face", at=phone.now)
        else:
            withdraw_file(actor=scene.contractor, row=row, why="a face", at=phone.now)


def test_only_whoever_makes_the_check_adds_one(scene, phone):
    check = checked(scene, until="draft")
    assert photo(Phone(scene.owner), of_bottle(check)).code == "waits"  # as where there is none
    hand_in(actor=scene.contractor, key=check.key, at=phone.now + timedelta(hours=8))
    answer = photo(Phone(scene.owner), of_bottle(check))
    assert answer.state == "forbidden"
    assert str(check.organisation) in answer.sentence
    assert not Photo.objects.exists()
    assert photo(phone, of_bottle(check)).taken  # the last that a weak signal lets through


def test_a_clock_that_is_wrong_stands_with_the_photo(phone, check):
    answer = photo(phone, of_bottle(check), device_now=phone.now + timedelta(minutes=20))
    assert answer.taken
    assert Photo.objects.get().taken_by == f"{phone.actor.person}, device clock 20 min ahead"
    assert not DeviceClock.objects.exists()


def test_the_database_keeps_a_photo_to_one_thing(scene, phone, check, draft):
    photo(phone, of_bottle(check))
    row = Photo.objects.get()
    for wrong in ({"visit": draft.visit, "sample": row.sample}, {"visit": None, "sample": None}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Photo.objects.create(
                by=phone.actor, attachment=row.attachment, taken_at=phone.now, taken_by="x",
                **wrong,
            )  # fmt: skip
