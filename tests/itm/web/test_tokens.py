"""Pages of the tokens: shown once, listed with their standing, revoked for good."""

import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.accounts import tokens
from itm.accounts.actor import Actor
from itm.accounts.models import ApiToken
from tests.factories import OrganisationFactory, actor_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Actor:
    return actor_of(OrganisationFactory())


@pytest.fixture
def page(client: Client, sign_in, manager: Actor) -> Client:
    return sign_in(client, manager)


def given(**values: object) -> dict[str, object]:
    day = timezone.now().date().isoformat()
    return {"name": "bench logger", "scopes": ["read", "hand_in"], "expires_on": day} | values


def test_token_is_shown_once(page: Client) -> None:
    said = page.post(reverse("token_new"), given(), follow=True).content.decode()
    text = re.search(r'value="(itm\.[^"]+)"', said)
    assert text
    assert tokens.bearer_of(text[1], timezone.now()).scopes == {"read", "hand_in"}
    key = ApiToken.objects.get().key
    assert text[1] not in page.get(reverse("token", args=[key])).content.decode()
    assert "token_made" not in page.session


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "This field is required"),
        ({"scopes": []}, "This field is required"),
        ({"expires_on": "2020-01-01"}, "This day is over"),
        ({"expires_on": "31/12/2026"}, "Write the day as year, month and day"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    page: Client, wrong: dict, sentence: str
) -> None:
    got = page.post(reverse("token_new"), given(**wrong))
    assert got.status_code == 422
    said = got.content.decode()
    assert sentence in said
    assert wrong.get("name", "bench logger") in said
    assert not ApiToken.objects.exists()


def test_empty_list_says_what_comes_next(page: Client) -> None:
    assert "No token works now" in page.get(reverse("tokens")).content.decode()


def test_revoked_token_is_listed_apart(page: Client, manager: Actor) -> None:
    now = timezone.now()
    row, _ = tokens.make(
        actor=manager, name="old one", scopes=["read"], expires_on=now.date(), at=now
    )
    said = page.post(reverse("token_revoke", args=[row.key]), follow=True).content.decode()
    assert "Revoked: old one." in said
    assert "Revoke this token" not in said
    assert "revoked by" in said
    listed = page.get(reverse("tokens")).content.decode()
    assert "old one</a>: revoked" in listed


def test_member_is_told_whose_page_it_is(client: Client, sign_in, manager: Actor) -> None:
    member = actor_of(manager.organisation, role="member")
    page = sign_in(client, member)
    for name in ("tokens", "token_new"):
        got = page.get(reverse(name))
        assert got.status_code == 403
        assert "This step is not yours to take" in got.content.decode()
    assert reverse("tokens") not in page.get(reverse("notices")).content.decode()
