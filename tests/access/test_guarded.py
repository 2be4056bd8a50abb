"""What stands between a browser and the product, asked of every address and not of a chosen few."""

import pytest
from django.test import Client
from django.urls import reverse

from itm.accounts.models import Organisation
from itm.registry.models import Site
from tests.access.table import PUBLIC, TABLE
from tests.factories import PASSWORD, OrganisationFactory


def test_no_deed_goes_through_without_the_token_of_its_page(scene, things, sign_in):
    """Another site could else make a signed-in person's browser do it (OWASP ASVS 4.0, 4.2.2)."""
    client = sign_in(Client(enforce_csrf_checks=True), scene.owner)
    let_through = []
    for name, (thing, *_) in TABLE.items():
        got = client.post(reverse(name, kwargs=things[thing]))
        if got.status_code not in (403, 405):
            let_through.append((name, got.status_code))
    assert let_through == []


@pytest.mark.parametrize("signed_in", [True, False])
def test_every_page_tells_the_browser_what_it_may_not_do(scene, things, sign_in, signed_in):
    """Content policy without inline script, no guessing of types, no frames (OWASP ASVS 14.4)."""
    client = sign_in(Client(), scene.owner) if signed_in else Client()
    addresses = TABLE if signed_in else PUBLIC
    for name, (thing, *_) in addresses.items():
        got = client.get(reverse(name, kwargs=things[thing]))
        policy = got.headers.get("Content-Security-Policy", "")
        assert "default-src 'self'" in policy or "default-src 'none'" in policy, name
        assert "unsafe-" not in policy, name
        assert got.headers["X-Content-Type-Options"] == "nosniff", name
        assert got.headers["X-Frame-Options"] == "DENY", name
        assert got.headers["Referrer-Policy"] in ("same-origin", "no-referrer"), name


def test_what_a_form_does_not_ask_is_not_taken_from_it(scene, sign_in):
    """Mass assignment: fields that stand in the row and not on the page stay as they are."""
    site, other = scene.site, OrganisationFactory()
    before = Site.objects.values().get(pk=site.pk)
    got = sign_in(Client(), scene.owner).post(
        reverse("site_edit", args=[site.key]),
        {"name": "Another name", "address": site.address, "country": site.country,
         "time_zone": site.time_zone, "owner": other.pk, "owner_id": other.pk,
         "key": "00000000-0000-4000-8000-000000000000", "retired_on": "2020-01-01", "id": 1},
    )  # fmt: skip
    assert got.status_code == 302
    after = Site.objects.values().get(pk=site.pk)
    assert {name for name in before if before[name] != after[name]} == {"name"}
    assert Organisation.objects.get(pk=after["owner_id"]) == site.owner


def test_a_host_that_is_not_ours_is_refused(client):
    """Links in mails would else lead where the request said."""
    assert client.get(reverse("sign_in"), headers={"host": "elsewhere.example"}).status_code == 400


def sign_in_by_page(client, scene, to="/"):
    user = scene.owner.user
    return client.post(
        f"{reverse('sign_in')}?next={to}",
        {"username": user.email, "password": PASSWORD, "next": to},
    )


def test_signing_in_gives_another_session_in_a_cookie_that_scripts_cannot_read(scene, client):
    """A session that somebody knew before would else be theirs too (OWASP ASVS 3.2.1, 3.4)."""
    client.get(reverse("sign_in"))
    before = client.session
    before["planted"] = "x"
    before.save()
    client.cookies["sessionid"] = before.session_key
    got = sign_in_by_page(client, scene)
    given = got.cookies["sessionid"]
    assert given.value != before.session_key
    assert (given["httponly"], given["samesite"]) == (True, "Lax")
    assert not client.session.exists(before.session_key)


@pytest.mark.parametrize(
    "to", ["https://elsewhere.example/", "//elsewhere.example", "\\\\elsewhere"]
)
def test_signing_in_leads_to_no_other_host(scene, client, to):
    got = sign_in_by_page(client, scene, to)
    assert got.status_code == 302
    assert got["Location"] == reverse("home")
