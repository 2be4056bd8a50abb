"""Every address of the interface × every method × everybody who may ask, of own and foreign things.

An address or method that nobody classified fails, and so does a line whose address is gone.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.accounts import tokens
from itm.accounts.actor import Actor
from itm.accounts.models import ApiToken
from itm.api.v1 import urls
from tests.access.api_table import API
from tests.access.columns import KINDS, expected_of_program
from tests.access.walk import (
    asked,
    engagement_over,
    everybody,
    named_by,
    quietly,
    remove,
    text_of,
)  # fmt: skip
from tests.factories import OrganisationFactory, actor_of

__all__ = ["KINDS", "program"]
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
    body = {} if method == "get" else {"data": {}, "content_type": "application/json"}
    got = asked(client, reverse(f"v1:{name}", kwargs=kwargs), method, **body)
    problem = got["Content-Type"] == "application/problem+json"
    return got.status_code, got.json()["code"] if problem else ""


def test_the_table_names_every_address_and_method_and_no_other() -> None:
    assert sorted(API) == sorted(taken())


ALL_METHODS = ("get", "post", "put", "patch", "delete")


def tokens_of(scene: Any) -> dict[str, Client]:
    """A program of everybody in the walk. A manager makes tokens, so whoever has another role now
    was one when it was made."""
    out, people = {}, everybody(scene)
    for who, actor in people.items():
        out[who] = program(replace(actor, role="manager"), *SCOPES)
    remove(scene, people["removed owner"])
    return out


def test_every_address_answers_each_program_as_the_table_says(scene, things, settings) -> None:
    settings.API_STRANGERS_A_MINUTE = 1_000_000  # whose token works no more counts as one
    observed, wanted = {}, {}

    def ask(who: str, client: Client) -> None:
        for (name, method), (thing, _, *own) in API.items():
            observed[name, method, who] = told(answer(client, name, method, things[thing])[0])
            wanted[name, method, who] = expected_of_program(who, name, method, thing, tuple(own))

    with quietly():
        programs = tokens_of(scene)
        for who, client in programs.items():
            ask(who, client)
        engagement_over(scene)
        ask("former contractor", programs["manager contractor"])
    assert {k: (v, wanted[k]) for k, v in observed.items() if v != wanted[k]} == {}


def told(status: int) -> str:
    return {401: "401", 403: "403", 404: "404"}.get(status, "ok")


def test_a_method_that_an_address_does_not_take_is_taken_from_nobody(scene, things) -> None:
    names = {name: thing for (name, _), (thing, *_) in API.items()}
    with quietly():
        for kind in KINDS:
            client = program(getattr(scene, kind), *SCOPES)
            for name, thing in names.items():
                for method in ALL_METHODS:
                    if (name, method) not in API:
                        assert answer(client, name, method, things[thing])[0] == 405, (kind, name)


@pytest.mark.parametrize("kind", KINDS)
def test_no_list_tells_a_strangers_program_of_a_thing(scene, things, kind) -> None:
    stranger = program(actor_of(OrganisationFactory(kind=kind)), *SCOPES)
    secrets = named_by(things)
    for (name, method), (thing, *_) in API.items():
        if method == "get" and not thing:
            got = text_of(asked(stranger, reverse(f"v1:{name}"), method))
            assert not [one for one in secrets if one in got], name


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
