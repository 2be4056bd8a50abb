"""Papers of a laboratory from a device: kept once under its key with what they say, or not at all.

The bytes are SHA-256 of hashlib; what a picture or PDF is comes from the formats' own standards
(ISO/IEC 10918-1, ISO 32000-1), as `itm/registry/files.py` names them.
"""

import hashlib
import io
import json
from datetime import timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest

from itm.doors.day import day_of
from itm.doors.papers import take_paper
from itm.records import sampling
from itm.records.models import ConcentrateSample, LaboratoryReport, SampleValue
from itm.registry.files import LARGEST
from tests.checks import PDF, begun, bottle, lot_of, measure
from tests.doors.phone import MORNING, Phone
from tests.factories import OrganisationFactory, actor_of
from tests.itm.registry.pictures import picture

DAYS = timedelta(days=20)


@pytest.fixture
def phone(scene):
    lot_of(scene)
    return Phone(scene.contractor, MORNING + DAYS)


@pytest.fixture
def check(scene, phone):
    return begun(scene)


@pytest.fixture
def sample(scene, check):
    return bottle(check, scene.contractor)


def says(sample, *values, **changed):
    """What stands on the paper of one bottle."""
    told = [dict(zip(("property", "value", "temperature"), one, strict=True)) for one in values]
    return {
        "laboratory": "Institute of the invented", "number": "L-118",
        "reported_on": MORNING.date().isoformat(),
        "samples": [{"sample": str(getattr(sample, "key", sample)), "values": told}], **changed,
    }  # fmt: skip


def paper(phone, check, put, data=PDF, key=None, **more):
    more.setdefault("kept_at", phone.now.isoformat())
    given = {"of": {"check": str(check.key)}, "name": "scan.pdf", **more}
    return take_paper(
        actor=phone.actor, key=str(key or uuid4()), put=put, file=io.BytesIO(data), at=phone.now,
        **given,
    )  # fmt: skip


def stored(settings) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def test_a_paper_is_kept_with_its_values_and_stands_in_the_day(scene, phone, check, sample):
    put = says(sample, ("ph", "7.6", "20.0"), ("density", "1032.0 kg/m³", "20.0"))
    put["samples"][0]["values"][0] |= {"method": "probe", "measured_on": "2026-06-15"}
    answer = paper(phone, check, put)
    assert answer.state == "taken", answer.sentence
    assert answer.now["sha256"] == hashlib.sha256(PDF).hexdigest()
    report = LaboratoryReport.objects.get()
    assert (report.sha256, report.size) == (hashlib.sha256(PDF).hexdigest(), len(PDF))
    assert (report.name, report.added_by) == ("scan.pdf", phone.actor.person)
    values = SampleValue.objects.filter(sample=sample).order_by("name")
    assert [(v.name, v.value_typed, v.origin, v.entered_at) for v in values] == [
        ("density", "1032.0 kg/m³", "laboratory", phone.now), ("ph", "7.6", "laboratory", phone.now)
    ]  # fmt: skip
    assert (values[1].method, values[1].measured_on.isoformat()) == ("probe", "2026-06-15")
    sample.refresh_from_db()
    assert (sample.report, sample.under_way) == (report, False)
    visit = phone.say(
        "plan_visit", {}, {"site": str(scene.site.key), "planned_on": phone.now.date().isoformat()}
    )
    [told] = day_of(phone.actor, UUID(visit.key))["checks"]
    assert [(one["number"], one["samples"]) for one in told["reports"]] == [
        ("L-118", [str(sample.key)])
    ]


def test_a_paper_sent_ten_times_is_one(phone, check, sample, settings):
    key, put = uuid4(), says(sample, ("ph", "7.6", "20.0"))
    answers = [paper(phone, check, json.dumps(put), key=key) for _ in range(10)]
    assert [answer.state for answer in answers] == ["taken"] + ["taken_before"] * 9
    assert LaboratoryReport.objects.count() == SampleValue.objects.count() == 1
    assert len(stored(settings)) == 1


def test_another_paper_under_the_key_is_refused(phone, check, sample):
    key = uuid4()
    assert paper(phone, check, says(sample), key=key).taken
    again = paper(phone, check, says(sample, number="L-119"), key=key)
    other = paper(phone, check, says(sample), PDF + b"%%EOF", key=key)
    assert {again.code, other.code} == {"other_body"}


def test_a_paper_waits_for_its_bottle_and_follows_a_label_put_right(phone, check):
    made = phone.note("add_check_sample", {"check": check.key}, {"point": "top", "label": "B 1"})
    made["at"] = MORNING.isoformat()
    put, key = says(made["key"], ("ph", "7.6", "20.0")), uuid4()
    first = paper(phone, check, put, key=key)
    assert (first.state, first.code) == ("refused", "waits")
    assert {one.state for one in phone.send()} == {"taken"}
    sample = ConcentrateSample.objects.get()
    sampling.change_sample(actor=phone.actor, sample=sample, at=phone.now, label="B 1 top")
    assert paper(phone, check, put, key=key).state == "taken"


def test_a_device_whose_clock_is_ahead_enters_no_value_from_the_future(phone, check, sample):
    ahead = (phone.now + timedelta(hours=2)).isoformat()
    assert paper(phone, check, says(sample, ("ph", "7.6", "20.0")), kept_at=ahead).taken
    assert SampleValue.objects.get().entered_at == phone.now


REFUSED = [
    ({}, b"", "/file", "empty_file"),
    ({}, b"<svg/>", "/file", "unknown_type"),
    ({}, PDF[:-8], "/file", "broken_pdf"),
    ({}, picture("JPEG")[:300], "/file", "broken_picture"),
    ({"number": ""}, PDF, "/number", "required"),
    ({"laboratory": ""}, PDF, "/laboratory", "required"),
    ({"reported_on": "2026-06-14"}, PDF, "/reported_on", "before_samples"),
    ({"reported_on": "2027-01-01"}, PDF, "/reported_on", "day_ahead"),
    ({"reported_on": "soon"}, PDF, "/reported_on", "invalid"),
    ({"samples": []}, PDF, "/samples", "required"),
    ({"samples": [3]}, PDF, "put/samples", "bad_entry"),
    ({"signed": "yes"}, PDF, "put", "bad_entry"),
]


@pytest.mark.parametrize(("changed", "data", "place", "code"), REFUSED)
def test_what_is_no_paper_is_refused_at_its_place_and_leaves_nothing(
    phone, check, sample, settings, changed, data, place, code
):
    answer = paper(phone, check, says(sample, ("ph", "7.6", "20.0"), **changed), data)
    assert (answer.state, answer.place, answer.code) == ("refused", place, code), answer.sentence
    assert answer.sentence.endswith(".")
    assert not LaboratoryReport.objects.exists()
    assert not SampleValue.objects.exists()
    assert stored(settings) == []


def test_too_large_a_paper_is_refused_by_name(phone, check, sample):
    answer = paper(phone, check, says(sample), PDF + bytes(LARGEST))
    assert (answer.code, answer.place) == ("too_large", "file")
    assert "“scan.pdf” is larger than 15 MB" in answer.sentence


def test_a_wrong_value_refuses_the_paper_with_it(phone, check, sample, settings):
    answer = paper(phone, check, says(sample, ("ph", "7.6", "20.0"), ("density", "3 kg/m³", "20")))
    assert (answer.state, answer.place) == ("refused", "/samples/0/values/1/value")
    assert not LaboratoryReport.objects.exists()
    assert stored(settings) == []


def test_a_value_that_stands_there_already_is_told(scene, phone, check, sample):
    measure(sample, scene.contractor, ph="7.5")
    answer = paper(phone, check, says(sample, ("ph", "7.6", "20.0")))
    assert answer.state == "refused"
    assert "entered 7.5 here already" in answer.sentence


@pytest.mark.parametrize("of", [None, "{", {"visit": str(uuid4())}, {"check": "x"}])
def test_it_hangs_on_a_check_and_nothing_else(phone, check, sample, of):
    assert paper(phone, check, says(sample), of=of).code == "bad_entry"


def test_strangers_learn_nothing_and_an_owner_attaches_nothing(scene, phone, check, sample):
    stranger = Phone(actor_of(OrganisationFactory(kind="contractor")), phone.now)
    assert paper(stranger, check, says(sample)).state == "not_found"
    assert paper(Phone(scene.owner, phone.now), check, says(sample)).state == "not_found"
    missing = paper(phone, check, says(sample), of={"check": str(uuid4())})
    assert missing.state == "not_found"
