"""The pages of a changeover: noted, shown on tank, system and trend, withdrawn."""

from typing import Any

from itm.registry.models import ChangeOver
from tests.conftest import Scene
from tests.factories import ConcentrateLotFactory, StoreMovementFactory


def test_changeover_is_noted_shown_and_withdrawn(enter: Any, scene: Scene) -> None:
    page, tank = enter("owner"), scene.tank
    address = f"/tanks/{tank.key}/changeover/"
    assert "no lot that could is in your list yet" in page.get(address).content.decode()
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, pfas="free", batch="FREE")
    entry = {"changed_on": "2024-05-06", "lot": lot.pk, "volume": "900", "volume_unit": "L",
             "cleaned": "three rinses", "rinses": "3", "rinse_volume": "450",
             "rinse_volume_unit": "L", "residue_mg_l": "12,5", "papers": "W-17"}  # fmt: skip
    assert address in page.get(f"/tanks/{tank.key}/").content.decode()

    late = page.post(address, {**entry, "changed_on": "2999-01-01"})
    assert late.status_code == 422
    assert 'id="id_changed_on_error"' in late.content.decode()
    assert 'value="three rinses"' in late.content.decode()

    said = page.post(address, entry, follow=True).content.decode()
    assert "Changed over" in said
    assert "The baseline starts anew" in said
    assert "cleaned 6 May 2024, 3 rinses, 450 L of rinse water, 12.5 mg/L of PFAS" in said
    effluent = page.get(f"/sites/{scene.site.key}/effluent/").content.decode()
    assert "Rinse water of tanks" in effluent
    assert "6 May 2024: 3 rinses, 450 L of rinse water" in effluent
    assert address not in said  # nothing is left to change over
    row = ChangeOver.objects.get()
    for movement in (row.drain, row.fill):
        alone = f"/movements/{movement.key}/withdraw/"
        assert alone not in said
        refused = page.post(alone, {"because": "slip"})
        assert "belongs to a changeover" in refused.content.decode()
    system = page.get(f"/systems/{scene.system.key}/").content.decode()
    assert "Papers: W-17." in system
    trend = page.get(f"/trends/{scene.proportioner.key}/").content.decode()
    assert "changeover" in trend

    page.post(f"/changeovers/{row.key}/withdraw/", {"because": "another tank"})
    effluent = page.get(f"/sites/{scene.site.key}/effluent/").content.decode()
    assert "Rinse water" not in effluent
    system = page.get(f"/systems/{scene.system.key}/").content.decode()
    assert "another tank" in system
    assert address in page.get(f"/tanks/{tank.key}/").content.decode()
    assert "changeover" not in page.get(f"/trends/{scene.proportioner.key}/").content.decode()


def test_changeover_offers_what_is_in_store_and_keeps_the_waste(enter: Any, scene: Scene) -> None:
    page, address = enter("owner"), f"/tanks/{scene.tank.key}/changeover/"
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, pfas="free", batch="FREE")
    assert "Taken from the store" not in page.get(address).content.decode()
    store = StoreMovementFactory(store__site=scene.site, store__lot=lot, volume=1.0).store
    other = StoreMovementFactory(store__site=scene.site).store  # of a lot that is not free
    text = page.get(address).content.decode()
    assert f'value="{store.pk}"' in text
    assert str(other.lot) not in text
    entry = {"changed_on": "2024-05-06", "lot": lot.pk, "volume": "900", "volume_unit": "L",
             "store": store.pk, "drained": "930", "drained_unit": "L", "as_waste": "on",
             "cleaned": "three rinses", "papers": "W-17"}  # fmt: skip
    too_much = page.post(address, {**entry, "drained": "1001"})
    assert 'id="id_drained_error"' in too_much.content.decode()
    page.post(address, entry)
    row = ChangeOver.objects.get()
    assert (row.fill.in_store.get().store, row.drain.volume_typed) == (store, "930 L")
    assert row.drain.in_store.get().store.standing == "waste"
