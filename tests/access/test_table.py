"""Every address of the product × every kind of person × own and foreign things.

An address that nobody classified fails, and so does a line of the table whose address is gone.
"""

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from itm.accounts.models import Organisation
from tests.access.table import EVERYBODYS, NOWHERE, PUBLIC, TABLE
from tests.factories import (
    OrganisationFactory,
    actor_of,
)

KINDS = ("owner", "contractor", "authority")


def names(resolver=None) -> Iterator[str]:
    """Of pages; what programs ask stands in a table of its own."""
    for one in (resolver or get_resolver()).url_patterns:
        if isinstance(one, URLPattern):
            yield str(one.name)
        elif one.namespace != "v1":
            yield from names(one)


def answer(client: Client, url: str) -> str:
    """Forbidden, not found, or anything else, which must not be a fault of the server.

    Deeds are tried without their data and undone again.
    """
    before = transaction.savepoint()
    got = client.get(url)
    if got.status_code == 405:
        got = client.post(url)
    transaction.savepoint_rollback(before)
    assert got.status_code < 500, (url, got.status_code)
    return {403: "403", 404: "404"}.get(got.status_code, "ok")


def test_the_table_names_every_address_and_no_other():
    assert sorted({*TABLE, *PUBLIC, *NOWHERE}) == sorted(set(names()))


@pytest.mark.parametrize("place", ["own", "foreign"])
def test_every_address_answers_each_person_as_the_table_says(scene, things, sign_in, place):
    people = {kind: getattr(scene, kind) for kind in KINDS}
    if place == "foreign":
        people = {kind: actor_of(OrganisationFactory(kind=kind)) for kind in KINDS}
    observed, expected = {}, {}
    for kind, actor in people.items():
        client = sign_in(Client(), actor)
        for name, (thing, *own) in TABLE.items():
            wanted = own[KINDS.index(kind)]
            # A foreign thing is not found, whatever the person's kind; without a thing in the
            # address only the kind counts.
            expected[name, kind] = (
                "404" if thing not in EVERYBODYS and place == "foreign" else wanted
            )
            observed[name, kind] = answer(client, reverse(name, kwargs=things[thing]))
    assert observed == expected


def test_a_stranger_is_asked_to_sign_in(things, client):
    for name, (thing, *_) in TABLE.items():
        for ask in (client.get, client.post):
            got = ask(reverse(name, kwargs=things[thing]))
            assert got.status_code in (302, 405), name
            if got.status_code == 302:
                assert got["Location"].startswith(reverse("sign_in")), name


def test_what_is_public_opens_without_signing_in(things, client):
    for name, (thing, method) in PUBLIC.items():
        got = getattr(client, method)(reverse(name, kwargs=things[thing]))
        assert got.status_code in (200, 302), name


def test_kinds_are_the_products_own():
    assert set(KINDS) == set(Organisation.Kind.values)
