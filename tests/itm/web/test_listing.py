"""Lists: found, sorted and paged by their address, with a fixed number of queries."""

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.conftest import Scene
from tests.factories import (
    AttachmentFactory,
    ConcentrateLotFactory,
    EquipmentFactory,
    FoamSystemFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    RelocationFactory,
    SiteFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)


def test_list_is_found_by_name_sorted_and_paged_by_its_address(enter: Any, scene: Scene) -> None:
    owner = scene.owner.organisation
    for number in range(27):
        SiteFactory(owner=owner, name=f"Depot {number:02}", country="Spain")
    page = enter("owner")
    first = page.get("/sites/?find=depot&sort=-name").content.decode()
    assert first.index("Depot 26") < first.index("Depot 25")
    assert "Depot 01" not in first
    assert "Page <span" in first
    second = page.get("/sites/?find=depot&sort=-name&page=2").content.decode()
    assert "Depot 01" in second
    assert "Depot 02" not in second
    assert "find=depot&amp;sort=-name" in second
    none = page.get("/sites/?find=nothing").content.decode()
    assert "Nothing here fits what you asked for: “nothing”." in none
    assert page.get("/sites/?sort=password&page=x&shown=y").status_code == 200


@pytest.mark.parametrize(
    ("who", "url", "sentence", "step"),
    [
        ("owner", "/sites/", "No site yet.", "/sites/new/"),
        ("owner", "/lots/", "No lot yet.", "/lots/new/"),
        ("contractor", "/sites/", "No owner has your organisation engaged today.", ""),
        ("contractor", "/instruments/", "No instrument yet.", "/instruments/new/"),
        ("authority", "/sites/", "No owner has named your authority", ""),
        ("authority", "/systems/", "No foam system yet.", ""),
    ],
)
def test_empty_list_says_why_and_what_to_do_next(
    client: Client, sign_in: Any, db: None, who: str, url: str, sentence: str, step: str
) -> None:
    page = sign_in(client, actor_of(OrganisationFactory(kind=who)))
    text = page.get(url).content.decode()
    assert sentence in text
    assert not step or f'href="{step}"' in text


def grow(scene: Scene, count: int) -> None:
    owner = scene.owner.organisation
    for number in range(count):
        site = SiteFactory(owner=owner)
        tank = TankFactory(site=site)
        lot = ConcentrateLotFactory(owner=owner)
        TankFillFactory(tank=tank, lot=lot)
        TankFillFactory(tank=scene.tank, lot=lot)
        ProportionerFactory(system=FoamSystemFactory(site=site), tank=tank)
        ProportionerFactory(
            system=FoamSystemFactory(site=scene.site), tank=TankFactory(site=scene.site)
        )
        RelocationFactory(equipment__site=scene.site, equipment__system=scene.system)
        EquipmentFactory(site=scene.site, system=None, tank=scene.tank)
        AttachmentFactory(site=scene.site)
        AttachmentFactory(site=scene.site, tank=scene.tank)
        GrantFactory(site=scene.site, starts_on=date(2010, 1, 1 + number % 28))
        InstrumentFactory(organisation=scene.contractor.organisation)


# Session, person, membership and its organisation are the first three of each; a page of a thing
# asks for its deficiencies and its impairments.
BUDGET = {
    "/sites/": 6,
    "/systems/": 6,
    "/proportioners/": 6,
    "/tanks/": 7,
    "/lots/": 6,
    "/equipment/": 6,
    "/attachments/": 6,
    "/sites/{site}/": 24,
    "/systems/{system}/": 16,
    "/tanks/{tank}/": 13,
    "/proportioners/{proportioner}/": 14,
}


def test_pages_ask_the_database_the_same_number_of_times_at_3_and_at_30_rows(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    keys = {name: getattr(scene, name).key for name in ("site", "system", "tank", "proportioner")}

    def asked() -> dict[str, int]:
        counts = {}
        for url in BUDGET:
            with CaptureQueriesContext(connection) as captured:
                assert page.get(url.format(**keys)).status_code == 200
            counts[url] = len(captured)
        return counts

    grow(scene, 2)
    assert asked() == BUDGET
    grow(scene, 27)
    assert asked() == BUDGET
