"""The PFAS inventory: how much of what stood where on a day, by hand-made books."""

import csv
import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.urls import reverse

from itm.registry.inventory import inventory
from itm.registry.models import Tank
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
    SiteFactory,
    StoreMovementFactory,
    TankFactory,
    TankFillFactory,
)

DAY = date(2024, 6, 1)


@pytest.fixture
def stocked(scene: Scene) -> Scene:
    """The scene's tank holds 950 L of unknown status. Beside it: 600 L with PFAS and 300 L free in
    one tank, a tank drained on 1 June 2024, one retired and empty, and one of another owner."""
    owner = scene.owner.organisation
    bad = ConcentrateLotFactory(owner=owner, pfas="contains", batch="BAD")
    good = ConcentrateLotFactory(owner=owner, pfas="free", batch="GOOD")
    mixed = TankFactory(site=scene.site, tag="=MIX")
    TankFillFactory(tank=mixed, lot=bad, volume=0.6, volume_typed="600 L")
    TankFillFactory(
        tank=mixed, lot=good, kind="top_up", volume=0.3, volume_typed="300 L", position=1,
        allowed_by="R. Invented", allowed_because="for this test",
    )  # fmt: skip
    drained = TankFactory(site=scene.site, tag="DRY")
    TankFillFactory(tank=drained, lot=bad, volume=0.5)
    TankFillFactory(tank=drained, lot=None, kind="drain", moved_on=DAY, volume=None,
                    volume_typed="", reason="changed over")  # fmt: skip
    TankFactory(site=scene.site, tag="GONE", retired_on=date(2020, 1, 1))
    TankFillFactory(tank=TankFactory(site=SiteFactory()), lot=bad)
    return scene


def litres(scene: Scene, on: date) -> dict[str, tuple[float, int]]:
    [stock] = inventory(scene.owner, on)
    return {total.status: (1000 * total.volume, total.tanks) for total in stock.totals()}


def test_totals_are_those_of_the_day(stocked: Scene) -> None:
    now = litres(stocked, DAY)
    assert now["Contains PFAS"] == (pytest.approx(600), 1)
    assert now["Not known"] == (pytest.approx(950), 1)
    # Free by its certificate, in one tank with 600 L that are not.
    assert now["Fluorine-free lot where PFAS stood, or may have"] == (pytest.approx(300), 1)
    assert now["Fluorine-free by its certificate"] == (0, 0)
    assert litres(stocked, date(2024, 5, 31))["Contains PFAS"] == (pytest.approx(1100), 2)
    assert litres(stocked, date(2010, 1, 1))["Contains PFAS"] == (0, 0)


def test_a_free_lot_in_a_tank_that_held_pfas_is_not_counted_as_free(stocked: Scene) -> None:
    good = ConcentrateLotFactory(owner=stocked.owner.organisation, pfas="free", batch="NEW")
    drained = Tank.objects.get(tag="DRY")
    TankFillFactory(tank=drained, lot=good, volume=0.4, moved_on=DAY, position=1)
    TankFillFactory(tank=TankFactory(site=stocked.site, tag="CLEAN"), lot=good, volume=0.2)
    now = litres(stocked, DAY)
    assert now["Fluorine-free lot where PFAS stood, or may have"] == (pytest.approx(700), 2)
    assert now["Fluorine-free by its certificate"] == (pytest.approx(200), 1)


def test_tank_that_held_pfas_stays_in_it_and_one_that_is_gone_does_not(stocked: Scene) -> None:
    [stock] = inventory(stocked.owner, DAY)
    found = {holding.tank.tag: holding.status for holding in stock.holdings}
    assert found["DRY"] == "Empty, in a tank that held PFAS: no cleaning noted"
    assert found["=MIX"] == "Contains PFAS"
    assert set(found) == {"DRY", "=MIX", stocked.tank.tag}


@pytest.mark.parametrize("who", ["owner", "contractor", "authority"])
def test_each_reads_of_the_tanks_that_are_theirs_to_see(
    stocked: Scene, enter: Any, who: str
) -> None:
    text = enter(who).get(f"/pfas/?on={DAY}").content.decode()
    assert "=MIX" in text
    assert (
        text.count('<section aria-labelledby="owner-') == 1
    )  # the tank of another owner is on nobody's page here


def test_table_is_the_same_and_runs_nothing(stocked: Scene, enter: Any) -> None:
    answer = enter("owner").get(f"/pfas/table.csv?on={DAY}")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert f"pfas-inventory-{DAY}.csv" in answer["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    mixed = {row["Batch"]: row for row in rows if row["Tank"] == "'=MIX"}
    assert (mixed["BAD"]["Volume, L"], mixed["GOOD"]["Volume, L"]) == ("600.0", "300.0")
    assert mixed["BAD"]["Share of the tank, %"] == "66.67"
    assert "R. Invented answers for it" in mixed["GOOD"]["Remark"]


@pytest.mark.parametrize(
    ("asked", "sentence"), [("2999-01-01", "has not come yet"), ("soon", "Write the day as year")]
)
def test_day_that_is_none_is_said_and_today_is_shown(
    scene: Scene, enter: Any, asked: str, sentence: str
) -> None:
    text = enter("owner").get(f"/pfas/?on={asked}").content.decode()
    assert sentence in text
    assert scene.tank.tag in text
    assert f'value="{asked}"' in text


def test_inventory_costs_the_same_for_more_tanks(
    stocked: Scene, django_assert_num_queries: Any
) -> None:
    StoreMovementFactory(store__site=stocked.site)
    with django_assert_num_queries(3):
        inventory(stocked.owner, DAY)
    for _ in range(20):
        TankFillFactory(tank=TankFactory(site=stocked.site))
        StoreMovementFactory(store__site=stocked.site)
    with django_assert_num_queries(3):
        inventory(stocked.owner, DAY)


def test_drums_and_waste_count_from_the_day_they_came_to_the_day_they_left(
    stocked: Scene, enter: Any
) -> None:
    """400 L of waste that contains PFAS, beside the 600 L in the tank."""
    bad = ConcentrateLotFactory(owner=stocked.owner.organisation, pfas="contains", batch="W")
    came = StoreMovementFactory(
        store__site=stocked.site, store__lot=bad, store__standing="waste", moved_on=DAY
    )
    StoreMovementFactory(
        store=came.store, kind="disposal", paper="W-17", moved_on=date(2024, 8, 1), left=0
    )
    found = {
        on: next(t for t in inventory(stocked.owner, on)[0].totals() if t.status == "Contains PFAS")
        for on in (date(2024, 5, 31), DAY, date(2024, 7, 31), date(2024, 8, 1))
    }
    assert [(round(1000 * t.volume), t.tanks, t.stores) for t in found.values()] == [
        (1100, 2, 0), (1000, 1, 1), (1000, 1, 1), (600, 1, 0),
    ]  # fmt: skip
    page = enter("owner")
    text = page.get(f"/pfas/?on={DAY}").content.decode()
    assert "in 1 tank and 1 store" in text
    assert f'href="/stores/{came.store.key}/"' in text
    answer = page.get(f"/pfas/table.csv?on={DAY}").content.decode("utf-8-sig")
    [row] = [r for r in csv.DictReader(io.StringIO(answer, newline="")) if r["Batch"] == "W"]
    assert (row["Volume, L"], row["In store as"], row["Tank"]) == (
        "400.0", "Waste, to be taken away", "",
    )  # fmt: skip


def test_today_is_that_of_the_sites_and_not_the_first_of_the_world(enter, scene, time_machine):
    """At 11:10 UTC the 1st of December has begun on the Line Islands and not in Portugal."""
    scene.site.time_zone = "Europe/Lisbon"
    scene.site.save(by=scene.owner)
    time_machine.move_to(datetime(2026, 11, 30, 11, 10, tzinfo=UTC))
    text = enter("owner").get(reverse("pfas_inventory")).content.decode()
    assert 'value="2026-11-30"' in text
