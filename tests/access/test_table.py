"""Every address of the product × every kind of person × own and foreign things.

An address that nobody classified fails, and so does a line of the table whose address is gone.
"""

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone

from itm.accounts import tokens
from itm.accounts.models import ApiToken, Organisation
from itm.actions.adopt import adopt
from itm.actions.note_happening import note_happening
from itm.actions.settle_rows import confirm
from itm.notices import services as notices
from itm.records import restoration
from itm.schedule.models import Duty, Programme
from tests.access.table import EVERYBODYS, PUBLIC, TABLE
from tests.deeds import discharged, inspection_of, prepared, read, tested
from tests.factories import (
    TODAY,
    AttachmentFactory,
    ChangeOverFactory,
    EquipmentFactory,
    OrganisationFactory,
    RelocationFactory,
    actor_of,
)

KINDS = ("owner", "contractor", "authority")


def names(resolver=None) -> Iterator[str]:
    for one in (resolver or get_resolver()).url_patterns:
        if isinstance(one, URLPattern):
            yield str(one.name)
        else:
            yield from names(one)


@pytest.fixture
def things(scene) -> dict[str, dict]:
    """Keys of everything that an address can name: a sealed record, and a visit under way."""
    sealed = tested(scene)
    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    test, run = day.test, day.test.runs.first()
    bottle = run.bottles.first()
    lines = list(test.visit.restoration_lines.order_by("position"))
    restoration.end_line(actor=day.actor, line=lines[0], outcome="restored", at=day.tick())
    standard = test.bench.bottles.get(label="S1")
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    row = programme.requirements.get(code="N25-25")
    adoption, _ = adopt(actor=scene.owner, programme=programme, starts_on=TODAY, site=scene.site)
    [given], _ = confirm(
        actor=scene.owner, adoption=adoption, requirements=[row], checked_against="it", today=TODAY
    )
    inspected = inspection_of(scene)
    happened, _ = note_happening(
        actor=scene.owner, site=scene.site, system=scene.system, kind="repair",
        happened_on=TODAY, words="new seal", today=TODAY,
    )  # fmt: skip
    return {
        "": {},
        "duty": {"key": Duty.objects.filter(site=scene.site).latest("pk").key},
        "happening": {"key": happened.key},
        "inspection": {"key": inspected.key},
        "line of inspection": {"key": inspected.lines.get().key},
        "programme": {"pk": programme.pk},
        "adoption": {"key": adoption.key},
        "row of adoption": {"key": adoption.key, "row": row.pk},
        "confirmation": {"key": given.key},
        "site": {"key": scene.site.key},
        "oversight": {"key": scene.site.site_authorities.get().key},
        "attachment": {"key": AttachmentFactory(site=scene.site).key},
        "grant": {"key": scene.site.grants.get().key},
        "system": {"key": scene.system.key},
        "proportioner": {"key": scene.proportioner.key},
        "tank": {"key": scene.tank.key},
        "equipment": {"key": EquipmentFactory(site=scene.site, system=scene.system).key},
        "tank and kind": {"key": scene.tank.key, "kind": "top-up"},
        "changeover": {"key": ChangeOverFactory(tank=scene.tank, system=scene.system).key},
        "movement": {"key": scene.tank.movements.first().key},
        "move": {"key": RelocationFactory(equipment__site=scene.site).key},
        "lot": {"key": scene.tank.movements.first().lot.key},
        "instrument": {"key": scene.instrument.key},
        "certificate": {"key": scene.instrument.certificates.get().key},
        "visit": {"key": test.visit.key},
        "draft": {"key": test.key},
        "draft and point": {"key": test.key, "point": run.flow_point.key},
        "draft and bottle": {"key": test.key, "bottle": standard.key},
        "draft and reading": {"key": test.key, "reading": bottle.readings.get().key},
        "run": {"key": run.key},
        "sample": {"key": bottle.key},
        "step": {"key": test.flush_steps.last().key},
        "line": {"key": lines[0].key},
        "sealed": {"key": sealed.key},
        "digest": {"digest": sealed.seal.digest},
        "token": {"key": made_token(scene.owner).key},
        "feed": {"token": notices.new_feed(actor=scene.owner, at=timezone.now())},
        "subscription": {"token": notices.unsubscribe_token(notices.membership_of(scene.owner))},
    }


def made_token(actor) -> ApiToken:
    now = timezone.now()
    return tokens.make(
        actor=actor, name="a program", scopes=["read"], expires_on=now.date(), at=now
    )[0]


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
    assert sorted({*TABLE, *PUBLIC}) == sorted(set(names()))


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
