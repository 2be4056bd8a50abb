"""The report as a page and as a file, for those who may see the test and nobody else."""

import io
import re
import sys
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.accounts.services import choose_measures
from itm.core import outbox
from itm.records.models import ProportioningTest
from itm.reports.address import verify_address
from tests.deeds import tested
from tests.factories import OrganisationFactory, actor_of
from tests.itm.reports.archival import text
from tests.itm.web.test_verify import amended

PAGES = ("report", "report_foot", "report_pdf")  # a copy has its size besides
SignIn = Callable[[Client, Actor], Client]


@pytest.fixture
def sealed(scene: Any) -> ProportioningTest:
    return tested(scene)


@pytest.mark.parametrize("who", ["owner", "contractor", "authority"])
def test_those_who_see_the_test_get_its_report(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn, who: str
) -> None:
    sign_in(client, getattr(scene, who))
    outbox.drain()
    for name in PAGES:
        assert client.get(reverse(name, args=[sealed.key])).status_code == 200


@pytest.mark.parametrize("kind", Organisation.Kind.values)
@pytest.mark.parametrize("name", PAGES)
def test_others_learn_nothing(
    sealed: ProportioningTest, client: Client, sign_in: SignIn, kind: str, name: str
) -> None:
    outbox.drain()
    address = reverse(name, args=[sealed.key])
    assert client.get(address).status_code == 302  # a stranger goes to the sign-in page
    sign_in(client, actor_of(OrganisationFactory(kind=kind)))
    assert client.get(address).status_code == 404


@pytest.mark.parametrize("name", PAGES)
def test_a_draft_has_no_report_and_the_page_says_why(
    scene: Any, client: Client, sign_in: SignIn, name: str
) -> None:
    test = tested(scene, until="draft")
    sign_in(client, scene.contractor)
    answer = client.get(reverse(name, args=[test.key]))
    assert answer.status_code == 422
    assert "prints a sealed record" in answer.content.decode()
    sign_in(client, scene.owner)  # who does not even see a draft
    assert client.get(reverse(name, args=[test.key])).status_code == 404


def test_the_page_is_made_of_our_own_files_alone(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    page = client.get(reverse("report", args=[sealed.key])).content.decode()
    addresses = re.findall(r'(?:src|href)="([^"]+)"', page)
    outside = [a for a in addresses if not a.startswith("/")]
    assert outside == [verify_address(sealed.seal)]
    assert " style=" not in page
    assert "<script" not in page


@pytest.mark.parametrize("who", ["owner", "contractor", "authority"])
def test_a_copy_on_other_paper_is_made_for_whoever_sees_the_record(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn, who: str
) -> None:
    sign_in(client, getattr(scene, who))
    got = client.get(reverse("report_copy", args=[sealed.key, "letter"]))
    assert got["Content-Type"] == "application/pdf"
    assert "letter-si.pdf" in got["Content-Disposition"]
    made = PdfReader(io.BytesIO(got.content))
    assert tuple(made.pages[0].mediabox)[2:] == (612, 792)
    assert made.attachments["record.json"][0] == bytes(sealed.seal.document)


def test_a_copy_says_that_its_record_was_corrected_since(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    address = reverse("report_copy", args=[sealed.key, "letter"])
    before = client.get(address).content
    later = amended(sealed, scene)
    after = client.get(address).content
    said = f"record {later.seal.number} corrects this one"
    assert said not in text(before)
    assert said in text(after)


def test_paper_of_another_size_is_not_found(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    assert client.get(reverse("report_copy", args=[sealed.key, "legal"])).status_code == 404


def test_the_page_is_in_the_readers_units_and_offers_copies_in_them(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    address = reverse("report", args=[sealed.key])
    letter, a4 = (reverse("report_copy", args=[sealed.key, size]) for size in ("letter", "a4"))
    page = client.get(address).content.decode()
    assert "(typed" not in page
    assert letter in page
    assert a4 not in page  # the kept report is just that
    assert scene.owner.user is not None
    choose_measures(by=scene.owner, user=scene.owner.user, measures="us")
    page = client.get(address).content.decode()
    assert "US gpm (typed" in page
    assert "Quantities stand in US customary" in page
    assert letter in page
    assert a4 in page
    copy = client.get(a4)
    assert "a4-us.pdf" in copy["Content-Disposition"]
    assert "US gpm (typed" in text(copy.content)
    outbox.drain()
    kept = client.get(reverse("report_pdf", args=[sealed.key]))
    assert "(typed" not in text(kept.content)  # the one that is kept stays as it was typed


def test_the_page_names_the_foot_of_its_own_record(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    foot = client.get(reverse("report_foot", args=[sealed.key]))
    assert foot["Content-Type"] == "text/css; charset=utf-8"
    assert sealed.seal.digest[:16] in foot.content.decode().replace("\\", "").replace(" ", "")


def test_the_file_is_ready_after_the_worker_and_never_made_in_the_request(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    sign_in(client, scene.owner)
    address = reverse("report_pdf", args=[sealed.key])
    waiting = client.get(address)
    assert waiting.status_code == 202
    assert '<meta http-equiv="refresh" content="4">' in waiting.content.decode()
    outbox.drain()
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    name = re.fullmatch(r'inline; filename="([a-z0-9-]+)\.pdf"', answer["Content-Disposition"])
    assert name is not None
    assert name[1].endswith("-2026-06-15")
    assert "private" in answer["Cache-Control"]
    text = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert scene.site.name in text


def test_a_failed_try_is_told_and_can_be_repeated(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    sign_in(client, scene.owner)
    address = reverse("report_pdf", args=[sealed.key])
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "weasyprint", None)
        outbox.drain()
    page = client.get(address)
    assert page.status_code == 202
    shown = page.content.decode()
    assert "libpango-1.0-0" in shown
    assert reverse("report", args=[sealed.key]) in shown  # the printable page works meanwhile
    assert client.get(reverse("report", args=[sealed.key])).status_code == 200
    assert outbox.drain() == 0  # the next try is due later
    assert client.post(address).status_code == 302
    assert outbox.drain() == 1
    assert client.get(address)["Content-Type"] == "application/pdf"


def test_a_promise_that_was_lost_is_made_anew_by_looking(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn
) -> None:
    outbox.Job.objects.all().delete()
    sign_in(client, scene.authority)
    address = reverse("report_pdf", args=[sealed.key])
    assert client.get(address).status_code == 202
    assert client.get(address).status_code == 202
    assert outbox.waiting().count() == 1
    outbox.drain()
    assert client.get(address).status_code == 200


def test_making_the_page_takes_few_queries(
    scene: Any, sealed: ProportioningTest, client: Client, sign_in: SignIn,
    django_assert_max_num_queries: Any,
) -> None:  # fmt: skip
    sign_in(client, scene.owner)
    with django_assert_max_num_queries(14):
        answer = client.get(reverse("report", args=[sealed.key]))
    assert answer.status_code == 200
