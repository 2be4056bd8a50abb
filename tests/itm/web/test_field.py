"""Field capture from the side of the server: what is public, what is handed over, the file."""

import base64
import json
import re
import uuid
from datetime import UTC, datetime

import pytest
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from itm.records.hands import hand_of
from itm.records.models import LaboratoryReport, Visit
from itm.registry.files import LARGEST
from itm.web.field import MOST_ENTRIES, kept_files, modules
from tests.checks import PDF, begun, bottle, lot_of
from tests.deeds import prepared


def entry(visit, **changes):
    return {
        "key": str(uuid.uuid4()), "verb": "add_notice", "of": {"visit": str(visit.key)},
        "put": {"told": "Monitoring company"}, "at": datetime.now(UTC).isoformat(), **changes,
    }  # fmt: skip


def hand_over(client, entries):
    body = {"device_now": datetime.now(UTC).isoformat(), "entries": entries}
    return client.post(reverse("field_entries"), body, content_type="application/json")


# What stays on the device


def test_the_page_is_the_same_for_everybody_and_swallows_no_message(enter, client, scene):
    stranger = client.get(reverse("field")).content
    enter("contractor")
    client.post(reverse("visit_new"), {"site": str(scene.site.key), "planned_on": "2026-06-15"})
    assert client.get(reverse("field")).content == stranger
    assert scene.contractor.person.encode() not in stranger
    assert b"csrf" not in stranger
    said = client.get(reverse("visits"))
    assert [str(one) for one in get_messages(said.wsgi_request)] or b"Planned:" in said.content


def test_every_file_that_the_worker_keeps_is_there(client, db):
    assert len(modules()) > 20
    for address in kept_files():
        assert client.get(address).status_code == 200, address


def test_every_module_that_is_imported_is_kept():
    from itm.web.field import STATIC

    kept = {name.rpartition("/")[2] for name in modules()}
    for name in modules():
        text = (STATIC / name).read_text()
        for path in re.findall(r'^(?:import|export)[^;]*?from "([^"]+)"', text, re.MULTILINE):
            assert path.rpartition("/")[2] in kept, (name, path)


def test_modules_stay_as_short_as_others():
    from itm.web.field import STATIC

    long = [n for n in modules() if n.startswith("field/")
            and len((STATIC / n).read_text().splitlines()) > 400]  # fmt: skip
    assert long == []


def test_worker_and_manifest_are_looked_for_anew_and_stay_in_their_folder(client, db):
    worker, manifest = client.get(reverse("field_worker")), client.get(reverse("field_manifest"))
    assert worker["Cache-Control"] == manifest["Cache-Control"] == "no-cache"
    assert worker["Content-Type"].startswith("text/javascript")
    said = manifest.json()
    assert said["start_url"] == said["scope"] == "/field/"
    assert {icon["sizes"] for icon in said["icons"]} == {"192x192", "512x512"}
    for icon in said["icons"]:
        assert client.get(icon["src"]).status_code == 200


# Hand-over


def test_who_gives_a_token_and_the_clock_of_the_server(enter, client, scene):
    enter("contractor")
    said = client.get(reverse("field_who")).json()
    key = f"{scene.contractor.person_key}.{scene.contractor.organisation.key}"
    assert said["person"]["key"] == key
    assert said["csrf"]
    assert datetime.fromisoformat(said["server_now"]).tzinfo
    assert key.encode() in client.get(reverse("visits")).content  # as the pages say whose it is


def test_entries_are_answered_one_by_one_and_noted_as_from_the_field(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("contractor")
    good, bad = entry(visit), entry(visit, put={"told": " "})
    answers = hand_over(client, [bad, good]).json()["answers"]
    assert [answer["state"] for answer in answers] == ["refused", "taken"]
    assert answers[0]["sentence"].endswith(".")
    again = hand_over(client, [good]).json()["answers"]
    assert [answer["state"] for answer in again] == ["taken_before"]
    assert visit.notices.filter(told="Monitoring company", key=good["key"]).count() == 1


def test_a_token_is_asked_for(scene, sign_in, settings):
    from django.test import Client

    client = sign_in(Client(enforce_csrf_checks=True), scene.contractor)
    assert hand_over(client, []).status_code == 403
    token = client.get(reverse("field_who")).json()["csrf"]
    body = json.dumps({"entries": []})
    kept = client.post(
        reverse("field_entries"), body, content_type="application/json",
        headers={"X-CSRFToken": token},
    )  # fmt: skip
    assert kept.json()["answers"] == []


@pytest.mark.parametrize("body", ["", "[]", "{}", '{"entries": {}}', '{"entries": 1}', "{"])
def test_what_is_no_list_of_entries_gets_a_sentence(enter, client, body):
    enter("contractor")
    answer = client.post(reverse("field_entries"), body, content_type="application/json")
    assert answer.status_code == 400
    assert answer.json()["sentence"].endswith(".")


def test_too_many_entries_at_once_are_refused(enter, client, scene):
    enter("contractor")
    assert hand_over(client, [{}] * (MOST_ENTRIES + 1)).status_code == 400


def test_an_owner_cannot_enter_anything(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("owner")
    [answer] = hand_over(client, [entry(visit)]).json()["answers"]
    assert answer["state"] == "forbidden"
    assert client.get(reverse("field_day", args=[visit.key])).json()["may"]["write"] is False


def test_a_photo_without_its_file_gets_a_sentence(enter, client):
    enter("contractor")
    answer = client.post(reverse("field_photos"), {"key": str(uuid.uuid4()), "of": "{}"})
    assert answer.status_code == 400


def of_check(scene, **changes):
    """A paper on the one bottle of a check, as a device posts it."""
    lot_of(scene)
    check = begun(scene)
    sample = bottle(check, scene.contractor)
    put = {
        "laboratory": "L", "number": "R 1", "reported_on": "2026-06-15",
        "samples": [{"sample": str(sample.key), "values": []}],
    }  # fmt: skip
    return {"key": str(uuid.uuid4()), "of": {"check": str(check.key)}, "put": put,
            "at": datetime.now(UTC).isoformat(), **changes}  # fmt: skip


def test_a_paper_is_taken_and_too_large_a_one_answered_with_a_sentence(enter, client, scene):
    enter("contractor")
    sent = of_check(scene)
    form = {**sent, "of": json.dumps(sent["of"]), "put": json.dumps(sent["put"])}
    large = SimpleUploadedFile("r.pdf", PDF + bytes(LARGEST), "application/pdf")
    answer = client.post(reverse("field_papers"), {**form, "file": large}).json()
    assert (answer["key"], answer["state"], answer["code"]) == (sent["key"], "refused", "too_large")
    assert client.post(reverse("field_papers"), form).status_code == 400
    file = SimpleUploadedFile("r.pdf", PDF, "application/pdf")
    assert client.post(reverse("field_papers"), {**form, "file": file}).json()["state"] == "taken"
    assert LaboratoryReport.objects.get().name == "r.pdf"


# The file


def upload(client, document):
    data = document if isinstance(document, bytes) else json.dumps(document).encode()
    return client.post(reverse("field_file"), {"file": SimpleUploadedFile("e.json", data)})


def saved(scene, entries, **changes):
    person = {"key": "x", "name": "Somebody of the crew"}
    return {"kind": "field entries", "form": 1, "person": person, "entries": entries,
            "photos": [], **changes}  # fmt: skip


def test_a_file_is_taken_once_however_often_it_comes(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("contractor")
    document = saved(scene, [entry(visit)])
    for words in ("taken", "already there, nothing was added"):
        page = upload(client, document)
        assert page.status_code == 200
        assert "1 of 1 taken" in page.content.decode()
        assert words in page.content.decode()
        assert "Entered by Somebody of the crew" in page.content.decode()
    assert visit.notices.filter(told="Monitoring company").count() == 2  # prepared() told one


def test_a_paper_in_the_file_is_taken_once(enter, client, scene):
    enter("contractor")
    held = {**of_check(scene), "name": "r.pdf", "data": base64.b64encode(PDF).decode()}
    for words in ("taken", "already there, nothing was added"):
        page = upload(client, saved(scene, [], papers=[held])).content.decode()
        assert "1 of 1 taken" in page
        assert words in page
        assert "A laboratory’s report." in page
    assert LaboratoryReport.objects.count() == 1
    page = upload(client, saved(scene, [], papers=[{**held, "data": "§"}, 3]))
    assert page.status_code == 422
    assert "0 of 2 taken" in page.content.decode()


def test_a_file_says_what_of_it_was_not_taken(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("contractor")
    wrong = entry(visit, verb="no_such_verb")
    page = upload(client, saved(scene, [entry(visit), wrong, "nonsense"], photos=[{}, 3]))
    assert page.status_code == 422
    assert "1 of 5 taken" in page.content.decode()


@pytest.mark.parametrize("document", [
    b"", b"{", b"[]", b'{"kind": "else"}', b'{"kind": "field entries", "form": 2}',
    b'{"kind": "field entries", "form": 1, "person": {}, "entries": 3}', b"\xff\xfe",
])  # fmt: skip
def test_another_file_is_refused_with_a_sentence(enter, client, scene, document):
    enter("contractor")
    page = upload(client, document)
    assert page.status_code == 422
    assert "Nothing was taken" in page.content.decode()


def test_no_file_is_asked_for_and_strangers_of_another_kind_enter_nothing(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("owner")
    assert client.post(reverse("field_file")).status_code == 422
    page = upload(client, saved(scene, [entry(visit)]))
    assert "not yours to enter" in page.content.decode()
    assert Visit.objects.get(pk=visit.pk).notices.count() == 1


def test_what_another_entered_stays_in_its_name(enter, client, scene):
    """Pitfall 61 upside down: who only carries the file to a computer read nothing."""
    visit = prepared(scene).test.visit
    enter("contractor")
    person = {"key": str(uuid.uuid4()), "name": "  Ann \u0000 of the crew "}
    upload(client, saved(scene, [entry(visit)], person=person))
    notice = visit.notices.latest("pk")
    me = scene.contractor.person
    assert notice.told_by == f"Ann of the crew, handed in as a file by {me}"
    assert hand_of(notice.told_by) == "Ann of the crew"


def test_ones_own_file_is_in_ones_own_name(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("contractor")
    person = {"key": str(scene.contractor.person_key), "name": "An older name"}
    upload(client, saved(scene, [entry(visit)], person=person))
    assert visit.notices.latest("pk").told_by == scene.contractor.person


def test_a_file_without_a_name_is_nobody_s_in_particular(enter, client, scene):
    visit = prepared(scene).test.visit
    enter("contractor")
    upload(client, saved(scene, [entry(visit)], person={}))
    assert visit.notices.latest("pk").told_by.startswith("somebody unnamed, handed in as a file")


@pytest.mark.parametrize("body", ["[" * 100_000, '{"entries": ' + "[" * 100_000])
def test_what_is_nested_too_deep_is_unreadable_and_no_fault(enter, client, scene, body):
    enter("contractor")
    answer = client.post(reverse("field_entries"), body, content_type="application/json")
    assert answer.status_code == 400
    photo = SimpleUploadedFile("p.jpg", b"no picture")
    answer = client.post(
        reverse("field_photos"),
        {"key": str(uuid.uuid4()), "of": body, "at": "2026-06-15T09:00:00Z", "file": photo},
    ).json()
    assert (answer["state"], answer["code"]) == ("refused", "bad_entry")
