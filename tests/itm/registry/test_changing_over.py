"""A changeover is drain, cleaning and fill at once, and baselines count from it.

That results with another concentrate are no baseline is common practice, no published source.
"""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from calc.units import VOLUME
from itm.actions import keep_book
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.quantities import quantity
from itm.registry import storing
from itm.registry.book import lines_of
from itm.registry.changing_over import New, change_over, changed_over_on, withdraw_changeover
from itm.registry.contents import pfas_words
from itm.registry.models import ChangeOver, ConcentrateLot, Store
from itm.registry.movements import withdraw
from itm.registry.queries_stores import held, stores_of
from itm.trends.queries import series
from tests.conftest import Scene
from tests.factories import (
    TODAY,
    ConcentrateLotFactory,
    FoamSystemFactory,
    ProportionerFactory,
    StoreMovementFactory,
    TankFactory,
    TankFillFactory,
)
from tests.itm.trends.kept import kept

DAY = date(2024, 5, 6)
NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def new(scene: Scene, **changes: Any) -> New:
    owner = scene.owner.organisation
    if "lot" not in changes:
        free = {"owner": owner, "product": "Invented free one", "batch": "FREE", "pfas": "free"}
        known = ConcentrateLot.objects.filter(owner=owner, batch="FREE").first()
        changes["lot"] = known or ConcentrateLotFactory(**free)
    values: dict[str, Any] = {
        "changed_on": DAY, "volume": quantity("900", "L", VOLUME),
        "cleaned": "three rinses", "papers": "waste paper 17",
    }  # fmt: skip
    return New(**{**values, **changes})


def over(scene: Scene, **changes: Any) -> list[ChangeOver]:
    return change_over(
        actor=scene.owner, tank=scene.tank, new=new(scene, **changes), today=date(2026, 6, 15)
    )


def test_every_system_that_the_tank_feeds_goes_over(scene: Scene) -> None:
    other = FoamSystemFactory(site=scene.site)
    ProportionerFactory(system=other, tank=scene.tank)
    ProportionerFactory(
        system=FoamSystemFactory(site=scene.site), tank=scene.tank, retired_on=date(2020, 1, 1)
    )
    old = scene.tank.movements.get().lot
    rows = over(scene)
    assert {row.system for row in rows} == {scene.system, other}
    assert {(row.from_lot, row.to_lot.batch) for row in rows} == {(old, "FREE")}
    held = lines_of(scene.tank)[-1].holds
    assert [(part.lot.batch, part.volume) for part in held.parts] == [("FREE", 0.9)]
    assert "cleaned 6 May 2024" in pfas_words(held)


@pytest.mark.parametrize(
    ("changes", "code", "place"),
    [
        ({"changed_on": date(2026, 6, 16)}, "day_ahead", "moved_on"),
        ({"changed_on": date(2010, 1, 1)}, "nothing_to_change", "changed_on"),
        ({"volume": quantity("1001", "L", VOLUME)}, "more_than_tank", "volume"),
        ({"papers": " "}, "not_valid", "papers"),
    ],
)
def test_impossible_changeover_leaves_nothing_behind(
    scene: Scene, changes: dict[str, Any], code: str, place: str
) -> None:
    with pytest.raises(Refused) as refused:
        over(scene, **changes)
    assert (refused.value.code, refused.value.place) == (code, place)
    assert scene.tank.movements.count() == 1
    assert over(scene)


def test_only_a_lot_that_is_free_is_gone_over_to(scene: Scene) -> None:
    for pfas in ("contains", "unknown"):
        lot = ConcentrateLotFactory(owner=scene.owner.organisation, pfas=pfas)
        with pytest.raises(Refused, match="not fluorine-free by its certificate"):
            over(scene, lot=lot)


def test_tank_that_feeds_nothing_or_is_not_ones_own_is_refused(scene: Scene) -> None:
    spare = TankFactory(site=scene.site)
    TankFillFactory(tank=spare)
    values: dict[str, Any] = {"new": new(scene), "today": TODAY}
    with pytest.raises(Refused, match="No proportioner in use"):
        change_over(actor=scene.owner, tank=spare, **values)
    with pytest.raises(Forbidden):
        change_over(actor=scene.contractor, tank=scene.tank, **values)


def test_late_noted_changeover_may_have_later_movements_and_not_a_mixture(scene: Scene) -> None:
    """A draw-off after it is no hindrance, a top-up with the old concentrate is."""
    old = scene.tank.movements.get().lot
    drawn = {"lot": None, "kind": "draw_off", "reason": "test", "moved_on": date(2025, 1, 1)}
    TankFillFactory(tank=scene.tank, volume=0.1, volume_typed="100 L", **drawn)
    old.pfas = "contains"
    old.save(by=scene.owner)
    topped = TankFillFactory(
        tank=scene.tank, lot=old, kind="top_up", volume=0.05, moved_on=date(2025, 2, 1)
    )
    with pytest.raises(Refused, match="fluorine-free concentrate with one that contains PFAS"):
        over(scene)
    withdraw(actor=scene.owner, movement=topped, because="never came", at=NOW)
    assert over(scene)
    assert lines_of(scene.tank)[-1].holds.volume == pytest.approx(0.8)


def test_changeover_is_withdrawn_whole_and_its_movements_not_alone(scene: Scene) -> None:
    [row] = over(scene)
    with pytest.raises(Refused, match="belongs to a changeover"):
        withdraw(actor=scene.owner, movement=row.fill, because="slip", at=NOW)
    undo = {"actor": scene.owner, "changeover": row, "at": NOW}
    with pytest.raises(Refused):
        withdraw_changeover(**undo, because=" ")
    withdraw_changeover(**undo, because="it was another tank")
    assert lines_of(scene.tank)[-1].holds.volume == pytest.approx(0.95)
    with pytest.raises(Conflict):
        withdraw_changeover(**undo, because="again")


def test_changeover_draws_from_a_store_and_leaves_its_waste_in_one(scene: Scene) -> None:
    """By hand: of 1000 L in store 900 L go in; what stood in the tank, 950 L by its book, waits as
    waste, or as much as was measured of it."""
    old, free = scene.tank.movements.get().lot, new(scene).lot
    drums = StoreMovementFactory(store__site=scene.site, store__lot=free, volume=1.0)

    def there() -> dict[str, float]:
        rows = [store for store in stores_of(scene.owner, scene.site) if held(store)]
        return {f"{row.standing} {row.lot.batch}": round(held(row) * 1000, 6) for row in rows}

    def go_over(**changes: Any) -> ChangeOver:
        made = new(scene, store=drums.store, as_waste=True, **changes)
        [row] = keep_book.change_over(
            actor=scene.owner, tank=scene.tank, new=made, today=TODAY, at=NOW
        )
        return row

    row = go_over()
    assert there() == {"supply FREE": 100, f"waste {old.batch}": 950}
    undo = {"actor": scene.owner, "because": "another tank", "at": NOW}
    keep_book.withdraw_changeover(**undo, changeover=row)
    assert there() == {"supply FREE": 1000}
    row = go_over(drained=quantity("930", "L", VOLUME))
    assert there() == {"supply FREE": 100, f"waste {old.batch}": 930}
    with pytest.raises(Refused, match="put that right or withdraw it"):
        storing.withdraw(**undo, movement=row.fill.in_store.get())
    waste = row.drain.in_store.get().store
    storing.note(
        actor=scene.owner, store=waste, today=TODAY, kind="disposal", paper="W-17",
        moved_on=date(2024, 6, 1), volume=quantity("930", "L", VOLUME),
    )  # fmt: skip
    with pytest.raises(Refused) as refused:  # it was taken away, so it was drained
        keep_book.withdraw_changeover(**undo, changeover=row)
    assert (refused.value.code, refused.value.place) == ("more_than_in_store", "because")


@pytest.mark.parametrize(
    ("changes", "code", "place"),
    [
        ({"drained": quantity("1001", "L", VOLUME)}, "more_than_tank", "drained"),
        ({"volume": quantity("901", "L", VOLUME)}, "more_than_in_store", "volume"),
    ],
)
def test_changeover_that_its_store_cannot_bear_leaves_nothing_behind(
    scene: Scene, changes: dict[str, Any], code: str, place: str
) -> None:
    drums = StoreMovementFactory(store__site=scene.site, store__lot=new(scene).lot, volume=0.9)
    made = new(scene, store=drums.store, as_waste=True, **changes)
    with pytest.raises(Refused) as refused:
        keep_book.change_over(actor=scene.owner, tank=scene.tank, new=made, today=TODAY, at=NOW)
    assert (refused.value.code, refused.value.place) == (code, place)
    assert (scene.tank.movements.count(), drums.store.movements.count()) == (1, 1)
    assert not Store.objects.filter(standing="waste").exists()


def test_baseline_restarts_with_the_changeover_and_comes_back_with_its_withdrawal(
    scene: Scene,
) -> None:
    def found() -> Any:
        out = series(scene.owner, scene.proportioner.key, NOW)
        design = next(one for one in out.flow_points if one.name == "design")
        percent = design.baseline.result.percent if design.baseline else None
        return percent, [(event.day, event.words) for event in out.events]

    kept(scene, {"design": 3.2}, on=date(2020, 6, 1), purpose="acceptance")
    assert found() == (3.2, [])
    assert changed_over_on(scene.proportioner) is None
    [row] = over(scene)
    assert changed_over_on(scene.proportioner) == DAY
    assert found() == (None, [(DAY, "changeover")])
    kept(scene, {"design": 3.3}, on=date(2025, 6, 1))
    assert found()[0] is None  # a periodic test proves no baseline
    kept(scene, {"design": 3.4}, on=date(2024, 6, 1), purpose="acceptance")
    assert found()[0] == 3.4
    withdraw_changeover(actor=scene.owner, changeover=row, because="another tank", at=NOW)
    assert found() == (3.4, [])
