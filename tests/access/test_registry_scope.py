"""Who sees which row of the registry, and what a page answers to whom.

Own: the owner of the site. Foreign: another owner. Engaged: a contractor whose engagement covers
today. Ended: one whose engagement is over. Authority: of the site. Other: of another site.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from itm.accounts.actor import Actor, system
from itm.registry.models import (
    Attachment,
    ConcentrateLot,
    Equipment,
    FlowPoint,
    FoamSystem,
    Grant,
    Instrument,
    Proportioner,
    Relocation,
    Site,
    SiteAuthority,
    Store,
    StoreMovement,
    Tank,
    TankMovement,
)
from tests.factories import (
    TODAY,
    AttachmentFactory,
    ConcentrateLotFactory,
    EquipmentFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    RelocationFactory,
    SiteAuthorityFactory,
    SiteFactory,
    StoreMovementFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)

PEOPLE = ("own", "foreign", "engaged", "ended", "to come", "authority", "other")


@dataclass
class World:
    """Two sites with everything on them, and everybody who could look."""

    people: dict[str, Actor] = field(default_factory=dict)
    rows: dict[type, Any] = field(default_factory=dict)
    elsewhere: dict[type, Any] = field(default_factory=dict)


def furnished(owner: Any) -> dict[type, Any]:
    site = SiteFactory(owner=owner)
    tank = TankFactory(site=site)
    lot = ConcentrateLotFactory(owner=owner)
    device = ProportionerFactory(system__site=site, tank=tank)
    valve = EquipmentFactory(site=site, system=device.system)
    return {
        Site: site,
        FoamSystem: device.system,
        Proportioner: device,
        FlowPoint: device.flow_points.first(),
        Tank: tank,
        TankMovement: TankFillFactory(tank=tank, lot=lot),
        ConcentrateLot: lot,
        Store: (kept := StoreMovementFactory(store__site=site)).store,
        StoreMovement: kept,
        Equipment: valve,
        Relocation: RelocationFactory(equipment=valve),
        Attachment: AttachmentFactory(site=site),
        SiteAuthority: SiteAuthorityFactory(site=site),
        Grant: GrantFactory(site=site),
        Instrument: InstrumentFactory(),
    }


def settle(today: date) -> World:
    """`today` decides which engagements are open: pages read the clock, queries an argument."""
    owner, other = OrganisationFactory(), OrganisationFactory()
    world = World(rows=furnished(owner), elsewhere=furnished(other))
    site = world.rows[Site]
    contractors = {
        name: OrganisationFactory(kind="contractor") for name in ("engaged", "ended", "to come")
    }
    yesterday, tomorrow = today - timedelta(days=1), today + timedelta(days=1)
    mine = GrantFactory(site=site, organisation=contractors["engaged"], ends_on=today)
    GrantFactory(site=site, organisation=contractors["ended"], ends_on=yesterday)
    GrantFactory(site=site, organisation=contractors["to come"], starts_on=tomorrow)
    authority = SiteAuthorityFactory(site=site)
    world.rows |= {
        Grant: mine,
        SiteAuthority: authority,
        Instrument: InstrumentFactory(organisation=contractors["engaged"]),
    }
    organisations = {
        "own": owner,
        "foreign": other,
        **contractors,
        "authority": authority.organisation,
        "other": world.elsewhere[SiteAuthority].organisation,
    }
    world.people = {name: actor_of(org, today=today) for name, org in organisations.items()}
    return world


@pytest.fixture
def world(db: None) -> World:
    return settle(TODAY)


@pytest.fixture
def present(db: None) -> World:
    return settle(timezone.now().date())


ON_THE_SITE = {"own", "engaged", "authority"}
SEES: dict[type, set[str]] = {
    Site: ON_THE_SITE,
    FoamSystem: ON_THE_SITE,
    Proportioner: ON_THE_SITE,
    FlowPoint: ON_THE_SITE,
    Tank: ON_THE_SITE,
    TankMovement: ON_THE_SITE,
    ConcentrateLot: ON_THE_SITE,
    Store: ON_THE_SITE,
    StoreMovement: ON_THE_SITE,
    Equipment: ON_THE_SITE,
    Relocation: ON_THE_SITE,
    Attachment: ON_THE_SITE,
    SiteAuthority: ON_THE_SITE,
    # Both sides of an engagement; a contractor's own stays readable when it is over.
    Grant: {"own", "engaged"},
    Instrument: {"engaged"},
}


@pytest.mark.parametrize("model", SEES, ids=lambda model: model.__name__)
def test_row_shows_to_these_and_to_nobody_else(world: World, model: Any) -> None:
    own, elsewhere = world.rows[model].pk, world.elsewhere[model].pk
    keys = {
        name: list(model.objects.visible_to(actor).values_list("pk", flat=True))
        for name, actor in world.people.items()
    }
    assert {name for name, seen in keys.items() if own in seen} == SEES[model]
    assert not any(elsewhere in keys[name] for name in ("own", "engaged", "authority"))
    for seen in keys.values():
        assert len(seen) == len(set(seen))  # one way in or several: one row


@pytest.mark.parametrize("model", SEES, ids=lambda model: model.__name__)
def test_installation_itself_sees_nothing_through_the_scope(world: World, model: Any) -> None:
    assert not model.objects.visible_to(system(TODAY)).exists()


def test_lot_that_stands_in_no_tank_shows_to_its_owner_alone(world: World) -> None:
    lot = ConcentrateLotFactory(owner=world.people["own"].organisation)
    seen = {
        name
        for name, actor in world.people.items()
        if ConcentrateLot.objects.visible_to(actor).filter(pk=lot.pk).exists()
    }
    assert seen == {"own"}


# Pages -------------------------------------------------------------------------------------------

READ = {
    "/sites/{}/": Site,
    "/systems/{}/": FoamSystem,
    "/proportioners/{}/": Proportioner,
    "/tanks/{}/": Tank,
    "/equipment/{}/": Equipment,
    "/attachments/{}/file/": Attachment,
    "/attachments/{}/preview/": Attachment,
    "/lots/{}/": ConcentrateLot,
    "/stores/{}/": Store,
    "/instruments/{}/": Instrument,
}
WRITE = {
    "/sites/{}/edit/": Site,
    "/sites/{}/retire/": Site,
    "/sites/{}/systems/new/": Site,
    "/sites/{}/tanks/new/": Site,
    "/sites/{}/authorities/new/": Site,
    "/sites/{}/engagements/new/": Site,
    "/engagements/{}/end/": Grant,
    "/systems/{}/edit/": FoamSystem,
    "/systems/{}/retire/": FoamSystem,
    "/systems/{}/proportioners/new/": FoamSystem,
    "/proportioners/{}/edit/": Proportioner,
    "/proportioners/{}/retire/": Proportioner,
    "/tanks/{}/edit/": Tank,
    "/tanks/{}/retire/": Tank,
    "/sites/{}/equipment/new/": Site,
    "/equipment/{}/edit/": Equipment,
    "/attachments/{}/withdraw/": Attachment,
    "/equipment/{}/retire/": Equipment,
    "/equipment/{}/move/": Equipment,
    "/proportioners/{}/move/": Proportioner,
    "/tanks/{}/movements/fill/": Tank,
    "/tanks/{}/movements/top-up/": Tank,
    "/tanks/{}/movements/draw-off/": Tank,
    "/tanks/{}/movements/drain/": Tank,
    "/movements/{}/correct/": TankMovement,
    "/movements/{}/withdraw/": TankMovement,
    "/lots/{}/edit/": ConcentrateLot,
    "/sites/{}/stores/new/": Site,
    "/stores/{}/movements/disposal/": Store,
    "/store-movements/{}/correct/": StoreMovement,
    "/store-movements/{}/withdraw/": StoreMovement,
    "/instruments/{}/edit/": Instrument,
    "/instruments/{}/retire/": Instrument,
}
POST_ONLY = {
    "/sites/{}/take-back/": Site,
    "/systems/{}/take-back/": FoamSystem,
    "/proportioners/{}/take-back/": Proportioner,
    "/tanks/{}/take-back/": Tank,
    "/equipment/{}/take-back/": Equipment,
    "/moves/{}/take-back/": Relocation,
    "/attachments/{}/bring-back/": Attachment,
    "/instruments/{}/take-back/": Instrument,
    "/engagements/{}/go-on/": Grant,
}
KEEPS = {Instrument: "engaged"}  # everything else is its owner's


def expected(model: type, person: str) -> int:
    """404 to whom the row does not show, 403 to who sees it and may not change it."""
    if person not in SEES[model]:
        return 404
    return 200 if person == KEEPS.get(model, "own") else 403


Enter = Callable[[Client, Actor], Client]


@pytest.mark.parametrize("url", READ)
def test_page_opens_to_whom_the_row_shows(
    present: World, client: Client, sign_in: Enter, url: str
) -> None:
    model = READ[url]
    address = url.format(present.rows[model].key)
    for person in PEOPLE:
        found = sign_in(client, present.people[person]).get(address).status_code
        assert (person, found) == (person, 200 if person in SEES[model] else 404)


@pytest.mark.parametrize("url", WRITE)
def test_form_opens_to_whose_row_it_is(
    present: World, client: Client, sign_in: Enter, url: str
) -> None:
    model = WRITE[url]
    address = url.format(present.rows[model].key)
    for person in PEOPLE:
        page, wanted = sign_in(client, present.people[person]), expected(model, person)
        assert (person, page.get(address).status_code) == (person, wanted)
        if wanted != 200:
            assert (person, page.post(address, {"name": "x"}).status_code) == (person, wanted)


@pytest.mark.parametrize("url", POST_ONLY)
def test_step_back_is_taken_only_by_whose_row_it_is(
    present: World, client: Client, sign_in: Enter, url: str
) -> None:
    model = POST_ONLY[url]
    address = url.format(present.rows[model].key)
    for person in PEOPLE:
        page, wanted = sign_in(client, present.people[person]), expected(model, person)
        assert page.get(address).status_code == 405
        found = page.post(address).status_code
        assert (person, found) == (person, 302 if wanted == 200 else wanted)


def test_contractor_reads_its_own_engagement_and_does_not_lengthen_it(
    present: World, client: Client, sign_in: Enter
) -> None:
    actor = present.people["ended"]
    grant = Grant.objects.get(organisation=actor.organisation)
    page = sign_in(client, actor)
    assert page.post(f"/engagements/{grant.key}/go-on/").status_code == 403
    assert page.post(f"/engagements/{grant.key}/end/", {"ends_on": "2999-01-01"}).status_code == 403


@pytest.mark.parametrize(
    ("url", "keeper"),
    [("/sites/new/", "own"), ("/lots/new/", "own"), ("/instruments/new/", "engaged")],
)
def test_adding_belongs_to_one_kind_of_organisation(
    present: World, client: Client, sign_in: Enter, url: str, keeper: str
) -> None:
    for person in ("own", "engaged", "authority"):
        found = sign_in(client, present.people[person]).get(url).status_code
        assert (person, found) == (person, 200 if person == keeper else 403)


def test_owner_changes_its_site_in_any_role(present: World, client: Client, sign_in: Enter) -> None:
    for role in ("member", "supervisor", "manager"):
        actor = actor_of(present.people["own"].organisation, role)
        page = sign_in(client, actor)
        assert page.get(f"/sites/{present.rows[Site].key}/edit/").status_code == 200


@pytest.mark.parametrize(
    "url",
    [
        "/sites/",
        "/systems/",
        "/proportioners/",
        "/tanks/",
        "/equipment/",
        "/lots/",
        "/instruments/",
        "/sites/new/",
    ],
)
def test_stranger_is_led_to_the_sign_in(client: Client, db: None, url: str) -> None:
    answer = client.get(url)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


@pytest.mark.parametrize(
    ("url", "model"),
    [("/sites/", Site), ("/systems/", FoamSystem), ("/proportioners/", Proportioner),
     ("/tanks/", Tank), ("/equipment/", Equipment),
     ("/lots/", ConcentrateLot), ("/stores/", Store), ("/instruments/", Instrument)],
)  # fmt: skip
def test_list_names_what_its_reader_sees_and_nothing_else(
    present: World, client: Client, sign_in: Enter, url: str, model: type
) -> None:
    others = {"foreign", "other"} if model is not Instrument else set()
    for person in PEOPLE:
        text = sign_in(client, present.people[person]).get(url).content.decode()
        assert (f"{url}{present.rows[model].key}/" in text) is (person in SEES[model])
        assert (f"{url}{present.elsewhere[model].key}/" in text) is (person in others)
