"""Concentrate in store through its pages: what comes in, goes into a tank and is taken away."""

from typing import Any

import pytest

from itm.registry.models import Store, StoreMovement, TankMovement
from tests.conftest import Scene
from tests.factories import ConcentrateLotFactory, StoreMovementFactory, TankFactory

DAY = "2025-03-01"


@pytest.fixture
def came(scene: Scene) -> StoreMovement:
    """400 L on 1 February 2024."""
    return StoreMovementFactory(store__site=scene.site, store__place="drum store")


def test_drums_come_to_a_site_and_are_found_from_there(enter: Any, scene: Scene) -> None:
    page, site = enter("owner"), f"/sites/{scene.site.key}/"
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, batch="DRUMS-1")
    url = f"{site}stores/new/"
    assert f'href="{url}"' in page.get(site).content.decode()
    entry = {
        "lot": lot.pk, "standing": "supply", "where": "by the pump house", "moved_on": DAY,
        "volume": "800", "volume_unit": "L", "containers": "4 drums of 200 L", "paper": "D-5",
    }  # fmt: skip
    refused = page.post(url, {**entry, "moved_on": "2999-01-01"})
    assert refused.status_code == 422
    assert "This day has not come yet." in refused.content.decode()
    assert 'value="4 drums of 200 L"' in refused.content.decode()  # nothing typed is lost
    answer = page.post(url, entry)
    store = Store.objects.get()
    assert answer["Location"] == f"/stores/{store.key}/"
    text = page.get(answer["Location"]).content.decode()
    assert "4 drums of 200 L; paper D-5" in text
    assert f'href="/stores/{store.key}/"' in page.get(site).content.decode()
    assert f'href="/stores/{store.key}/"' in page.get(f"/lots/{lot.key}/").content.decode()
    assert f"/stores/{store.key}/" in page.get("/search/?find=DRUMS-1").content.decode()
    assert "800 L" in page.get("/stores/?standing=supply").content.decode()
    assert "800 L" not in page.get("/stores/?standing=waste").content.decode()


@pytest.mark.parametrize(
    ("kind", "changed", "sentence"),
    [
        ("use", {"volume": "401"}, "the store held 400 L by what is noted, so 401 L cannot have"),
        ("use", {"moved_on": "2024-01-31"}, "the store held 0 L by what is noted"),
        ("use", {"reason": ""}, "This field is required."),
        ("disposal", {"paper": ""}, "This field is required."),
        ("disposal", {"volume": "0"}, "The volume is above 0."),
        ("receipt", {"volume": "soon"}, "soon"),
    ],
)
def test_impossible_entry_is_refused(
    enter: Any, came: StoreMovement, kind: str, changed: dict[str, str], sentence: str
) -> None:
    entry = {
        "moved_on": DAY, "volume": "30", "volume_unit": "L", "reason": "drill", "paper": "W-17",
    }  # fmt: skip
    page, url = enter("owner"), f"/stores/{came.store.key}/movements/{kind}/"
    answer = page.post(url, {**entry, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert came.store.movements.count() == 1
    assert page.post(url, entry).status_code == 302  # the same without the one thing wrong
    assert came.store.movements.count() == 2


def test_movement_of_a_store_is_put_right_and_withdrawn(enter: Any, came: StoreMovement) -> None:
    page, there = enter("owner"), f"/stores/{came.store.key}/"
    page.post(
        f"/store-movements/{came.key}/correct/",
        {"moved_on": DAY, "volume": "350", "volume_unit": "L", "because": "misread the drum"},
    )
    new = StoreMovement.objects.get(replaces=came)
    assert "misread the drum" in page.get(there).content.decode()
    page.post(f"/store-movements/{new.key}/withdraw/", {"because": "never came"})
    text = page.get(there).content.decode()
    assert "never came" in text
    assert "Nothing noted here counts any more." in text


def test_kind_that_is_none_is_not_found(enter: Any, came: StoreMovement) -> None:
    assert enter("owner").get(f"/stores/{came.store.key}/movements/loss/").status_code == 404


def test_tank_is_filled_from_the_store_by_its_own_form(
    enter: Any, scene: Scene, came: StoreMovement
) -> None:
    page, tank = enter("owner"), TankFactory(site=scene.site)
    store, url = came.store, f"/tanks/{tank.key}/movements/fill/"
    form = page.get(url).content.decode()
    assert f"{store.lot}: 400 L there" in form
    entry = {"lot": store.lot.pk, "moved_on": DAY, "volume_unit": "L", "store": store.pk}
    refused = page.post(url, {**entry, "volume": "500"}).content.decode()
    assert "so 500 L cannot have gone out of it" in refused
    assert f'<option value="{store.pk}" selected>' in refused
    page.post(url, {**entry, "volume": "300"})
    row = TankMovement.objects.get(tank=tank)
    text = page.get(f"/stores/{store.key}/").content.decode()
    assert "put right or withdrawn with the movement of the tank" in text
    assert "100 L" in text
    correct = f"/movements/{row.key}/correct/"
    assert f'<option value="{store.pk}" selected>' in page.get(correct).content.decode()
    page.post(correct, {**entry, "volume": "400", "because": "misread"})
    assert (
        f'href="/stores/{store.key}/movements/use/"'
        not in page.get(f"/stores/{store.key}/").content.decode()
    )  # empty
    empty = TankFactory(site=scene.site)
    assert 'name="store"' not in page.get(f"/tanks/{empty.key}/movements/fill/").content.decode()


def test_drained_waste_is_noted_with_the_drain(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    page.post(
        f"/tanks/{scene.tank.key}/movements/drain/",
        {"moved_on": DAY, "volume": "", "volume_unit": "L", "reason": "end of life",
         "as_waste": "on"},
    )  # fmt: skip
    store = Store.objects.get(standing="waste")
    assert "950 L" in page.get(f"/stores/{store.key}/").content.decode()
    for who in ("contractor", "authority"):
        text = enter(who).get(f"/stores/{store.key}/").content.decode()
        assert "950 L" in text
        assert "Note what was taken away" not in text
