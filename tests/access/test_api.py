"""Every address of the interface × every method it takes × kind of organisation × own and foreign.

An address or method that nobody classified fails, and so does a line whose address is gone.
"""

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.accounts import tokens
from itm.accounts.actor import Actor
from itm.accounts.models import ApiToken
from itm.api.v1 import urls
from tests.access.api_table import API
from tests.factories import OrganisationFactory, actor_of

KINDS = ("owner", "contractor", "authority")
SCOPES = ApiToken.Scope.values


def program(actor: Actor, *scopes: str) -> Client:
    now = timezone.now()
    _, text = tokens.make(
        actor=actor, name=f"with {scopes}", scopes=scopes, expires_on=now.date(), at=now
    )
    return Client(headers={"Authorization": f"Bearer {text}"})


def taken() -> Iterator[tuple[str, str]]:
    """Address and method, as the views take them."""
    for one in urls.urlpatterns:
        view = one.callback.cls
        yield from ((str(one.name), m) for m in view.http_method_names
                    if m != "head" and hasattr(view, m))  # fmt: skip


def answer(client: Client, name: str, method: str, kwargs: dict) -> tuple[int, str]:
    """Status and code. Deeds are tried without their data and undone again."""
    before = transaction.savepoint()
    url = reverse(f"v1:{name}", kwargs=kwargs)
    got = getattr(client, method)(
        url, **({} if method == "get" else {"data": {}, "content_type": "application/json"})
    )
    transaction.savepoint_rollback(before)
    assert got.status_code < 500, (url, got.status_code)
    problem = got["Content-Type"] == "application/problem+json"
    return got.status_code, got.json()["code"] if problem else ""


def test_the_table_names_every_address_and_method_and_no_other() -> None:
    assert sorted(API) == sorted(taken())


@pytest.mark.parametrize("place", ["own", "foreign"])
def test_every_address_answers_each_program_as_the_table_says(scene, things, place) -> None:
    people = {kind: getattr(scene, kind) for kind in KINDS}
    if place == "foreign":
        people = {kind: actor_of(OrganisationFactory(kind=kind)) for kind in KINDS}
    observed, expected = {}, {}
    for kind, actor in people.items():
        client = program(actor, *SCOPES)
        for (name, method), (thing, _, *own) in API.items():
            wanted = "404" if thing and place == "foreign" else own[KINDS.index(kind)]
            expected[name, method, kind] = wanted
            status, _ = answer(client, name, method, things[thing])
            observed[name, method, kind] = {403: "403", 404: "404"}.get(status, "ok")
    assert observed == expected


@pytest.mark.parametrize("scope", ["", *SCOPES])
def test_token_without_the_scope_is_told_which_one_it_lacks(scene, things, scope) -> None:
    rest = [one for one in SCOPES if one != scope]
    client = program(scene.owner, *rest)
    for (name, method), (thing, needed, *_) in API.items():
        refused = answer(client, name, method, things[thing])[1] == "out_of_scope"
        assert refused == (needed == scope != ""), (name, method)


def test_a_stranger_is_asked_for_a_token(things, client) -> None:
    for (name, method), (thing, *_) in API.items():
        assert answer(client, name, method, things[thing]) == (401, "not_signed_in"), name
    got = client.get(reverse("v1:sites"))
    assert got["WWW-Authenticate"].startswith("Bearer ")


def test_session_of_a_page_opens_nothing_here(scene, things, client, sign_in) -> None:
    page = sign_in(client, scene.owner)
    for (name, method), (thing, *_) in API.items():
        assert answer(page, name, method, things[thing])[0] == 401, name
