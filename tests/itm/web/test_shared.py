"""Pages that whoever holds a link reads, and the pages on which a manager makes one."""

import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.core.logs import renderer
from itm.findings.models import Impairment
from itm.registry import links
from itm.registry.models import ReadLink
from tests import deeds
from tests.checks import checked
from tests.factories import SiteFactory


def said(answer):
    return answer.content.decode()


@pytest.fixture
def secret(scene):
    now = timezone.now()
    return links.make(
        actor=scene.owner, name="an insurer", sites=[scene.site], ends_on=now.date(), at=now
    )[1]


def test_link_is_made_shown_once_and_revoked(client, scene, sign_in):
    page = sign_in(client, scene.owner)
    assert "No link works now" in said(page.get(reverse("read_links")))
    day = timezone.now().date().isoformat()
    typed = {"name": "an insurer", "ends_on": day}
    none = page.post(reverse("read_link_new"), typed)
    assert none.status_code == 422
    assert "Tick the sites" in said(none)
    assert 'value="an insurer"' in said(none)
    made = page.post(reverse("read_link_new"), typed | {"sites": [scene.site.key]}, follow=True)
    address = re.search(r'value="http://testserver(/shared/[^"]+/)"', said(made))[1]
    row = ReadLink.objects.get()
    assert address not in said(page.get(reverse("read_link", args=[row.key])))
    reader = Client()
    assert reader.get(address).status_code == 200
    there = said(page.get(reverse("read_link", args=[row.key])))
    assert "All sites" in there
    assert "1 time<" in there
    page.post(reverse("read_link_revoke", args=[row.key]))
    shut = reader.get(address)
    assert shut.status_code == 410
    assert f"{scene.owner.organisation} has closed this link" in said(shut)
    assert ": revoked" in said(page.get(reverse("read_links")))


def test_reader_sees_standing_deficiencies_and_sealed_records(scene, secret):
    lean = deeds.tested(scene, {"minimum": 2.0, "design": 3.2})
    waiting = deeds.tested(scene, until="handed_in")
    check = checked(scene)
    reader = Client()
    sites = reader.get(reverse("shared_sites", args=[secret]))
    assert scene.site.name in said(sites)
    assert sites.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-store" in sites.headers["Cache-Control"]
    page = said(reader.get(reverse("shared_site", args=[secret, scene.site.key])))
    assert "What is due" in page
    assert "impairment" in page  # the lean result
    for record, name in ((lean, "shared_test"), (check, "shared_check")):
        there = reverse(name, args=[secret, record.key])
        assert there in page
        report = reader.get(there)
        assert report.status_code == 200
        assert record.seal.digest[:8] in said(report).replace(" ", "")
        assert reader.get(reverse(f"{name}_foot", args=[secret, record.key])).status_code == 200
        # No PDF is made yet, so the page that prints alike is shown.
        assert reader.get(reverse(f"{name}_pdf", args=[secret, record.key]))["Location"] == there
    assert str(waiting.key) not in page
    assert reader.get(reverse("shared_test", args=[secret, waiting.key])).status_code == 404


def test_reader_sees_what_is_out_of_service_until_it_is_back(scene, secret):
    deeds.discharged(deeds.prepared(scene))
    reader, there = Client(), reverse("shared_site", args=[secret, scene.site.key])
    page = said(reader.get(there))
    assert 'id="out">Out of service<' in page
    assert scene.system.name in page
    assert "duty engineer" not in page.casefold()  # who sees to it is for those who work there
    lines = said(reader.get(reverse("shared_sites", args=[secret])))
    assert 'data-head="Out of service">1<' in lines
    for row in Impairment.objects.all():
        row.ended_at, row.ended_by, row.ended_words = timezone.now(), "x", "back"
        row.save(by=scene.owner)
    assert 'id="out"' not in said(reader.get(there))


def test_of_two_records_of_one_day_the_corrected_one_says_so(client, scene, sign_in, secret):
    first = deeds.tested(scene)
    second = deeds.amended(first, scene)
    page = said(Client().get(reverse("shared_site", args=[secret, scene.site.key])))
    for row, words in ((first, "corrected since"), (second, "corrects another")):
        line = page.split(reverse("shared_test", args=[secret, row.key]))[1].split("</tr>")[0]
        assert words in line
    rows = said(sign_in(client, scene.authority).get(reverse("records")))
    assert rows.count("sealed, corrected since") == 1
    visit = said(client.get(reverse("visit", args=[first.visit.key])))
    assert "corrected since" in visit


def test_pages_lead_nowhere_else(scene, secret):
    record = deeds.tested(scene)
    reader = Client()
    for name, args in (
        ("shared_sites", []), ("shared_site", [scene.site.key]), ("shared_test", [record.key])
    ):  # fmt: skip
        page = said(reader.get(reverse(name, args=[secret, *args])))
        found = set(re.findall(r'(?:href|action|src)="(/[^"]*)"', page))
        allowed = (f"/shared/{secret}/", "/static/", "/verify/", "/field/manifest", "/sign-in/")
        assert {one for one in found if not one.startswith(allowed)} <= {"/"}, name
        assert "<form" not in page
        assert "<script" not in page or name != "shared_test"


def test_other_sites_and_slips_are_not_found(scene, secret):
    foreign = SiteFactory(owner=scene.owner.organisation)
    reader = Client()
    assert reader.get(reverse("shared_site", args=[secret, foreign.key])).status_code == 404
    wrong = reader.get(reverse("shared_sites", args=[secret[:-1]]))
    assert wrong.status_code == 404
    assert "never made" in said(wrong)
    assert reader.post(reverse("shared_sites", args=[secret])).status_code == 405
    assert reader.get(reverse("sites")).status_code == 302  # nothing else opens


def test_signed_in_person_reads_as_the_link_and_not_as_oneself(client, scene, sign_in, secret):
    """Who follows a link while signed in sees what its holder sees."""
    draft = deeds.tested(scene, until="handed_in")
    page = sign_in(client, scene.contractor)
    assert page.get(reverse("test", args=[draft.key])).status_code == 200
    assert page.get(reverse("shared_test", args=[secret, draft.key])).status_code == 404


def test_pages_take_as_many_queries_for_many_rows_as_for_few(
    scene, secret, django_assert_max_num_queries
):
    deeds.tested(scene)
    for _ in range(30):
        scene_site = SiteFactory(owner=scene.owner.organisation)
        ReadLink.objects.get().sites.add(scene_site)
    reader = Client()
    # Finding the link, counting the try (insert, two looks), its sites, noting the use, and three
    # reads.
    with django_assert_max_num_queries(10):
        reader.get(reverse("shared_sites", args=[secret]))
    with django_assert_max_num_queries(14):
        reader.get(reverse("shared_site", args=[secret, scene.site.key]))


@pytest.mark.parametrize(
    "path",
    ["/shared/SECRET/", "/shared/SECRET/sites/x/", "/join/SECRET/", "/calendar/SECRET.ics",
     "/unsubscribe/SECRET/", "/reset/0fb1a6a2-8f0c-4c53-9d9b-2f0f9f1c8a55/SECRET/"],
)  # fmt: skip
def test_secret_of_an_address_stands_in_no_log(path):
    for event in ({"request": f"GET {path}", "event": "request_started"},
                  {"event": f"Not Found: {path}"}):  # fmt: skip
        line = renderer(None, "warning", dict(event))
        assert "SECRET" not in line
        assert path.split("/")[1] in line
