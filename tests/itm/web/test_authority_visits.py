"""The pages of an authority's own visits."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from itm.findings.models import AuthorityVisit, Order
from itm.notices import gathering, news
from itm.notices.models import News
from tests.factories import TODAY
from tests.itm.registry.pictures import picture

SAID = {
    "visited_on": TODAY.isoformat(), "present": "A. Inspector, the duty engineer",
    "looked_at": "The pump room.\nTwo valves stood closed.", "caption": "the left valve",
}  # fmt: skip


@pytest.fixture
def inspector(scene, client, sign_in):
    return sign_in(client, scene.authority)


def noted(inspector, scene, **more) -> AuthorityVisit:
    address = reverse("authority_visit_new", args=[scene.site.key])
    answer = inspector.post(address, {**SAID, **more})
    row = AuthorityVisit.objects.order_by("pk").last()
    assert answer.status_code == 302
    assert answer["Location"] == reverse("authority_visit", args=[row.key])
    return row


def page(client, row) -> str:
    answer = client.get(reverse("authority_visit", args=[row.key]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_visit_is_noted_with_a_photo_and_read_by_the_owner(scene, inspector, sign_in):
    photo = SimpleUploadedFile("valve.png", picture(), "image/png")
    row = noted(inspector, scene, chosen=photo)
    said = page(inspector, row)
    assert "Order something by a day" in said
    assert "Put the note right" in said
    owner = sign_in(inspector, scene.owner)
    said = page(owner, row)
    for words in ("Two valves stood closed.", "A. Inspector", "the left valve", "valve.png"):
        assert words in said
    assert "Put the note right" not in said
    file = row.files.get()
    served = owner.get(reverse("authority_file", args=[file.key]))
    assert b"".join(served.streaming_content)[:4] == b"\x89PNG"
    assert served["Content-Security-Policy"].startswith("default-src 'none'")
    listed = owner.get(reverse("authority_visits")).content.decode()
    assert "The pump room." in listed
    on_the_site = owner.get(reverse("site", args=[scene.site.key])).content.decode()
    assert reverse("authority_visit", args=[row.key]) in on_the_site


def test_a_contractor_finds_nothing_of_it_anywhere(scene, inspector, sign_in):
    row = noted(inspector, scene)
    inspector.post(
        reverse("order_new", args=[scene.site.key]) + f"?visit={row.key}",
        {"words": "Seal both valves", "due_on": "2099-06-15"},
    )
    crew = sign_in(inspector, scene.contractor)
    assert crew.get(reverse("authority_visit", args=[row.key])).status_code == 404
    order = Order.objects.get()
    for address in (
        reverse("authority_visits"), reverse("site", args=[scene.site.key]),
        reverse("order", args=[order.key]),
    ):  # fmt: skip
        said = crew.get(address).content.decode()
        assert str(row.key) not in said
        assert "pump room" not in said
    assert "Seal both valves" in said  # the order itself it sees


def test_an_order_made_from_it_leads_back(scene, inspector):
    row = noted(inspector, scene)
    address = reverse("order_new", args=[scene.site.key]) + f"?visit={row.key}"
    assert "From the visit of" in inspector.get(address).content.decode()
    answer = inspector.post(address, {"words": "Seal both", "due_on": "2099-06-15"}, follow=True)
    assert reverse("authority_visit", args=[row.key]) in answer.content.decode()
    assert "Seal both" in page(inspector, row)
    for odd in ("x", "00000000-0000-4000-8000-000000000000"):
        gone = inspector.get(reverse("order_new", args=[scene.site.key]) + f"?visit={odd}")
        assert gone.status_code == 404


def test_nothing_typed_is_lost_where_something_is_missing(scene, inspector):
    address = reverse("authority_visit_new", args=[scene.site.key])
    answer = inspector.post(address, {**SAID, "present": ""})
    assert answer.status_code == 422
    assert "Two valves stood closed." in answer.content.decode()
    answer = inspector.post(address, {**SAID, "visited_on": "2999-01-01"})
    assert "This day has not come yet." in answer.content.decode()
    assert not AuthorityVisit.objects.exists()


def test_it_is_put_right_and_both_stand_there(scene, inspector):
    row = noted(inspector, scene)
    address = reverse("authority_visit_correct", args=[row.key])
    assert "The pump room." in inspector.get(address).content.decode()
    answer = inspector.post(
        address, {**SAID, "looked_at": "The valve room.", "because": "the wrong room"}, follow=True
    )
    said = answer.content.decode()
    assert "The valve room." in said
    assert "the wrong room" in said
    before = page(inspector, row)
    assert "withdrawn" in before
    assert "The note that took its place" in before
    assert "Put the note right" not in before
    narrowed = inspector.get(reverse("authority_visits") + "?stands=withdrawn").content.decode()
    assert "The pump room." in narrowed
    assert "The valve room." not in narrowed


def test_a_photo_is_withdrawn_and_its_line_says_why(scene, inspector):
    row = noted(inspector, scene, chosen=SimpleUploadedFile("face.png", picture(), "image/png"))
    file = row.files.get()
    there = reverse("authority_file_withdraw", args=[file.key])
    assert "a face" in inspector.post(there, {"because": "a face"}, follow=True).content.decode()
    for name in ("authority_file", "authority_file_preview"):
        assert inspector.get(reverse(name, args=[file.key])).status_code == 404


def test_without_any_the_list_says_where_one_is_noted(inspector, scene):
    said = inspector.get(reverse("authority_visits") + f"?site={scene.site.key}").content.decode()
    assert "No visit was noted." in said
    assert reverse("authority_visit_new", args=[scene.site.key]) in said


def test_the_owner_has_it_among_the_news_and_a_contractor_has_not(scene, inspector, time_machine):
    now = datetime.combine(TODAY, time(12), UTC)
    time_machine.move_to(now, tick=False)
    gathering.begin_at(now)
    row = noted(inspector, scene)
    inspector.post(reverse("authority_visit_withdraw", args=[row.key]), {"because": "other site"})
    gathering.gather(now + timedelta(minutes=1))
    kinds = {News.Kind.VISITED, News.Kind.VISIT_WITHDRAWN}
    for actor, seen in ((scene.owner, kinds), (scene.contractor, set())):
        told = News.objects.visible_to(actor).filter(kind__in=kinds)
        assert {one.kind for one in told} == seen
    assert news.new_for(scene.owner).filter(kind=News.Kind.VISITED).exists()
