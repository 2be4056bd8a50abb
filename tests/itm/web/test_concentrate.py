"""Lots, fills and instruments."""

from typing import Any

import pytest

from itm.registry.models import (
    ConcentrateLot,
    Instrument,
    TankFill,
)
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
)


def test_lot_goes_into_a_tank_by_a_fill_that_can_be_put_right(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    page.post(
        "/lots/new/",
        {"product": "Invented SFFF", "kind": "sfff", "nominal_percent": "3", "batch": "K-7",
         "pfas": "free", "refractive_index": "1,3752", "density": "1 042.5", "ph": "7.9",
         "made_on": "2025-01-10", "expires_on": "2045-01-10"},
    )  # fmt: skip
    lot = ConcentrateLot.objects.get(batch="K-7")
    assert str(lot.refractive_index) == "1.37520"
    url = f"/tanks/{scene.tank.key}/fills/new/"
    entry = {"lot": lot.pk, "filled_on": "2025-03-01", "volume": "800", "volume_unit": "L"}
    page.post(url, entry)
    fill = TankFill.objects.get(lot=lot)
    assert fill.volume == pytest.approx(0.8, rel=1e-15)
    page.post(f"/fills/{fill.key}/edit/", {**entry, "volume": "820"})
    fill.refresh_from_db()
    assert fill.volume_typed == "820 L"
    assert "820 L" in page.get(f"/lots/{lot.key}/").content.decode()
    assert "820 L" in page.get(f"/tanks/{scene.tank.key}/").content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"volume": "1200"}, "The tank holds 1 m³; more does not go in at once."),
        ({"filled_on": "2999-01-01"}, "This day has not come yet."),
        ({"volume": "0"}, "The volume filled is above 0."),
    ],
)
def test_impossible_fill_is_refused(
    enter: Any, scene: Scene, changed: dict[str, str], sentence: str
) -> None:
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    entry = {"lot": lot.pk, "filled_on": "2025-03-01", "volume": "800", "volume_unit": "L"}
    answer = enter("owner").post(f"/tanks/{scene.tank.key}/fills/new/", {**entry, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_lot_of_another_owner_is_no_choice(enter: Any, scene: Scene) -> None:
    foreign = ConcentrateLotFactory()
    entry = {"lot": foreign.pk, "filled_on": "2025-03-01", "volume": "1", "volume_unit": "L"}
    answer = enter("owner").post(f"/tanks/{scene.tank.key}/fills/new/", entry)
    assert "Select a valid choice" in answer.content.decode()


def test_contractor_keeps_an_instrument(enter: Any, scene: Scene) -> None:
    page = enter("contractor")
    entry = {"name": "Bench meter", "serial_number": "77", "method": "conductivity",
             "unit": "", "resolution": "0,01", "repeatability": ""}  # fmt: skip
    wrong = page.post("/instruments/new/", entry)
    assert "The unit does not fit" in wrong.content.decode()
    page.post("/instruments/new/", {**entry, "unit": "mS/cm"})
    row = Instrument.objects.get(serial_number="77")
    assert row.organisation == scene.contractor.organisation
    page.post(f"/instruments/{row.key}/edit/", {**entry, "unit": "mS/cm", "name": "Other name"})
    page.post(f"/instruments/{row.key}/retire/", {"retired_on": "2026-01-01"})
    link = f'href="/instruments/{row.key}/"'
    assert link not in page.get("/instruments/").content.decode()
    assert link in page.get("/instruments/?shown=all").content.decode()
