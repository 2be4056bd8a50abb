"""Every address of the product × GET and POST × everybody who may ask, of own and foreign things.

An address that nobody classified fails, and so does a line of the table whose address is gone.
"""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from itm.accounts.models import Organisation
from itm.registry import links
from tests.access.columns import EVERYBODYS, KINDS, ROLES, expected
from tests.access.table import NOWHERE, PUBLIC, TABLE
from tests.access.undrawn import UNDRAWN
from tests.access.walk import (
    asked,
    engagement_over,
    everybody,
    named_by,
    quietly,
    remove,
    said,
    text_of,
)  # fmt: skip
from tests.factories import OrganisationFactory, SiteFactory, actor_of

METHODS = ("get", "post")
Answers = dict[tuple[str, str, str], str]  # by address, method and person


def names(resolver=None) -> Iterator[str]:
    """Of pages; what programs ask stands in a table of its own."""
    for one in (resolver or get_resolver()).url_patterns:
        if isinstance(one, URLPattern):
            yield str(one.name)
        elif one.namespace != "v1":
            yield from names(one)


def test_the_table_names_every_address_and_no_other():
    assert sorted({*TABLE, *PUBLIC, *NOWHERE}) == sorted(set(names()))


class Walk:
    """The answers of one world, and which methods each address takes."""

    def __init__(self, things):
        self.urls = {n: reverse(n, kwargs=things[thing]) for n, (thing, *_) in TABLE.items()}
        self.got: Answers = {}
        self.taken: dict[str, tuple[str, ...]] = {}

    def ask(self, who: str, client: Client, name: str, methods=METHODS) -> None:
        """What was asked already is not asked again."""
        for method in methods:
            if (name, method, who) not in self.got:
                self.got[name, method, who] = said(asked(client, self.urls[name], method))

    def learn_methods(self, whose: list[str]) -> None:
        """A method that an address does not take is taken from nobody: 405, whoever asks."""
        for name in TABLE:
            told = {m: {self.got[name, m, who] for who in whose} for m in METHODS}
            assert all(len(t) == 1 for t in told.values() if "405" in t), (name, told)
            self.taken[name] = tuple(m for m in METHODS if told[m] != {"405"})
            assert self.taken[name], name

    def wrong(self) -> dict[tuple[str, str, str], tuple[str, str]]:
        """What was answered and what the table says, where they differ."""
        out = {}
        for (name, method, who), told in self.got.items():
            thing, *own = TABLE[name]
            taken = method in self.taken[name] or who.startswith("removed")
            wanted = expected(who, name, method, thing, tuple(own)) if taken else "405"
            if told != wanted:
                out[name, method, who] = told, wanted
        return out


def test_every_address_answers_each_person_as_the_table_says(scene, things, sign_in, settings):
    """Managers' pages with all that is drawn, and the rest without the drawing.

    A member is asked by the method that does something. Roles are a ladder, so a supervisor is
    asked where the answers of member and manager differ: who stands between two that are answered
    alike is answered alike.
    """
    people = everybody(scene)
    clients = {who: sign_in(Client(), actor) for who, actor in people.items()}
    remove(scene, people["removed owner"])
    walk, managers = Walk(things), [f"manager {kind}" for kind in KINDS]
    with quietly():
        for who in managers:
            for name in TABLE:
                # A sheet is drawn alike for whoever may have it, and takes a second.
                if not name.endswith(("_pdf", "_copy")) or who == "manager owner":
                    walk.ask(who, clients[who], name, ["get"])
        settings.TEMPLATES = UNDRAWN
        for who in [*managers, "another contractor", "removed owner"]:
            for name in TABLE:
                walk.ask(who, clients[who], name)
        walk.learn_methods([*managers, "another contractor"])
        for kind in KINDS:
            member, supervisor, manager = (f"{role} {kind}" for role in ROLES)
            for name, taken in walk.taken.items():
                deed = taken[-1]
                walk.ask(member, clients[member], name, [deed])
                if walk.got[name, deed, member] != walk.got[name, deed, manager]:
                    walk.ask(supervisor, clients[supervisor], name, [deed])
                # Of who is foreign the kind counts nowhere but where no thing is named.
                foreign = f"foreign {kind}"
                walk.ask(foreign, clients[foreign], name, taken if kind == "owner" else [deed])
        engagement_over(scene)
        for name, taken in walk.taken.items():
            walk.ask("former contractor", clients["manager contractor"], name, taken)
    assert walk.wrong() == {}


@pytest.mark.parametrize("kind", KINDS)
def test_no_list_search_or_export_tells_a_stranger_of_a_thing(scene, things, sign_in, kind):
    """What names no thing in its address may name none of somebody else's in its answer."""
    client = sign_in(Client(), actor_of(OrganisationFactory(kind=kind)))
    secrets = named_by(things)
    for name, (thing, *_) in TABLE.items():
        if thing not in EVERYBODYS or name.endswith("_pdf"):
            continue
        url = reverse(name, kwargs=things[thing])
        got = asked(client, url, "get")
        assert not [one for one in secrets if one in text_of(got)], name
    found = text_of(client.get(reverse("search"), {"find": scene.site.name}))
    assert str(scene.site.key) not in found
    mine = text_of(sign_in(Client(), scene.owner).get(reverse("search"), {"find": scene.site.name}))
    assert str(scene.site.key) in mine  # the search finds it for whom it is


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


def test_a_link_opens_its_own_sites_while_it_lasts_and_no_deed(scene, things):
    """The reader with a dated link: every address under it, of own and foreign things."""
    shared = [name for name in PUBLIC if name.startswith("shared")]
    now = timezone.now()
    elsewhere = SiteFactory()
    owner = actor_of(elsewhere.owner)

    def made(actor, site):
        return links.make(actor=actor, name="a reader", sites=[site], ends_on=now.date(), at=now)

    (other, foreign), (mine, own) = made(owner, elsewhere), made(scene.owner, scene.site)
    reader = Client()

    def answers(token, at="get"):
        keys = {n: {**things[PUBLIC[n][0]], "token": token} for n in shared}
        return {n: getattr(reader, at)(reverse(n, kwargs=keys[n])).status_code for n in shared}

    assert set(answers(own).values()) <= {200, 302}
    assert set(answers(own, "post").values()) == {405}
    assert answers(foreign) == {n: 200 if n == "shared_sites" else 404 for n in shared}
    assert set(answers("never-made").values()) == {404}
    links.revoke(actor=scene.owner, row=mine, at=now)
    assert set(answers(own).values()) == {410}
    other.ends_on = now.date() - timedelta(days=1)
    other.save(by=owner)
    assert set(answers(foreign).values()) == {410}


def test_kinds_and_roles_are_the_products_own():
    assert set(KINDS) == set(Organisation.Kind.values)
    assert [*ROLES] == Organisation.memberships.rel.related_model.Role.values
