"""Concentrate in store: never below zero on any day, and one book with the tanks it went into.

The sums are hand-made; nothing here rests on a published source.
"""

from contextlib import nullcontext
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from itm.accounts.actor import Actor
from itm.actions import keep_book
from itm.core.errors import Conflict, Forbidden, Refused
from itm.core.quantities import Quantity
from itm.registry import queries_stores, retiring, storing
from itm.registry.contents import contents
from itm.registry.models import ConcentrateLot, Store, StoreMovement
from itm.registry.stored import in_store, shortage, store_book
from tests.conftest import Scene
from tests.factories import (
    TODAY,
    ConcentrateLotFactory,
    StoreFactory,
    StoreMovementFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)

AT = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
DAY = date(2024, 3, 1)


def litres(number: float) -> Quantity:
    return Quantity(number / 1000, f"{number:g} L")


@pytest.fixture
def lot(scene: Scene) -> ConcentrateLot:
    return ConcentrateLotFactory(owner=scene.owner.organisation, pfas="contains")


def receive(scene: Scene, lot: ConcentrateLot, volume: float = 400, **values: Any) -> StoreMovement:
    return storing.receive(**{
        "actor": scene.owner, "site": scene.site, "lot": lot, "standing": "supply",
        "moved_on": DAY, "volume": litres(volume), "today": TODAY, **values,
    })  # fmt: skip


def note(scene: Scene, store: Store, kind: str, volume: float, **values: Any) -> StoreMovement:
    words = {"use": {"reason": "drill"}, "disposal": {"paper": "W-17"}}.get(kind, {})
    return storing.note(**{
        "actor": scene.owner, "store": store, "kind": kind, "moved_on": DAY,
        "volume": litres(volume), "today": TODAY, **words, **values,
    })  # fmt: skip


def left(store: Store, on: date = TODAY) -> float:
    return 1000 * in_store(store_book(store.movements.all()), on)


def test_what_comes_in_is_used_and_taken_away(scene: Scene, lot: ConcentrateLot) -> None:
    store = receive(scene, lot, where="drum store").store
    assert receive(scene, lot, 200, moved_on=date(2024, 4, 1)).store == store
    note(scene, store, "use", 50, moved_on=date(2024, 5, 1))
    note(scene, store, "disposal", 550, moved_on=date(2024, 6, 1))
    days = [date(2024, 2, 1), DAY, date(2024, 4, 1), date(2024, 5, 31), date(2024, 6, 1)]
    assert [left(store, day) for day in days] == pytest.approx([0, 400, 600, 550, 0])
    assert store.place == "drum store"
    assert [round(1000 * row.left) for row in store.movements.in_force()] == [400, 600, 550, 0]


def test_more_than_there_is_refused_over_the_whole_book(scene: Scene, lot: ConcentrateLot) -> None:
    first = receive(scene, lot)
    store = first.store
    note(scene, store, "use", 300, moved_on=date(2024, 5, 1))
    with pytest.raises(Refused) as refused:  # 100 L are left today
        note(scene, store, "use", 101, moved_on=date(2024, 6, 1))
    assert (refused.value.code, refused.value.place) == ("more_than_in_store", "volume")
    assert refused.value.sentence == (
        "On 1 Jun 2024 the store held 100 L by what is noted, so 101 L cannot have gone out of it."
    )
    with pytest.raises(Refused) as refused:  # backdated: 400 L were there, but 300 L went later
        note(scene, store, "disposal", 200, moved_on=date(2024, 4, 1))
    assert "On 1 May 2024 the store held 200 L" in refused.value.sentence
    with pytest.raises(Refused):  # before anything came
        note(scene, store, "use", 1, moved_on=date(2024, 2, 1))
    with pytest.raises(Refused):
        storing.withdraw(actor=scene.owner, movement=first, because="of another site", at=AT)
    with pytest.raises(Refused):
        storing.correct(
            actor=scene.owner, movement=first, because="misread", today=TODAY, at=AT,
            moved_on=DAY, volume=litres(299),
        )  # fmt: skip
    assert left(store) == pytest.approx(100)


def test_receipt_is_put_right_and_withdrawn_with_its_reason(scene: Scene, lot: Any) -> None:
    first = receive(scene, lot)
    new = storing.correct(
        actor=scene.owner, movement=first, because="misread", today=TODAY, at=AT,
        moved_on=DAY, volume=litres(300),
    )  # fmt: skip
    first.refresh_from_db()
    assert (first.withdrawn_because, new.replaces, new.kind) == ("misread", first, "receipt")
    assert left(new.store) == pytest.approx(300)
    with pytest.raises(Refused, match="Say what is wrong"):
        storing.withdraw(actor=scene.owner, movement=new, because=" ", at=AT)
    storing.withdraw(actor=scene.owner, movement=new, because="never came", at=AT)
    assert left(new.store) == 0
    with pytest.raises(Conflict):
        storing.withdraw(actor=scene.owner, movement=new, because="never came", at=AT)


def test_what_else_is_refused(scene: Scene, lot: ConcentrateLot) -> None:
    with pytest.raises(Refused, match="has not come yet"):
        receive(scene, lot, moved_on=date(2026, 6, 16))
    with pytest.raises(Refused, match="another owner"):
        receive(scene, ConcentrateLotFactory())
    for actor in (scene.contractor, scene.authority):
        with pytest.raises(Forbidden):
            receive(scene, lot, actor=actor)
    store = receive(scene, lot).store
    with pytest.raises(Refused, match="number of the paper"):
        note(scene, store, "disposal", 1, paper="")
    with pytest.raises(Refused, match="what it was used for"):
        note(scene, store, "use", 1, reason="")
    with pytest.raises(Refused, match="above 0"):
        note(scene, store, "receipt", 0)


@pytest.mark.parametrize(
    "broken",
    [
        {"left": -0.001},
        {"volume": 0.0, "left": 0.0},
        {"kind": "lost"},
        {"kind": "use"},
        {"kind": "disposal"},
        {"withdrawn_at": AT},
    ],
)
def test_database_itself_refuses_it(scene: Scene, broken: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        StoreMovementFactory(store__site=scene.site, **broken)


def test_database_refuses_a_second_store_of_the_lot_and_a_third_standing(scene: Scene) -> None:
    store = StoreFactory(site=scene.site)
    for values in ({"lot": store.lot}, {"standing": "lost"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            StoreFactory(site=scene.site, **values)


# With the tanks ----------------------------------------------------------------------------------


def fill(scene: Scene, tank: Any, lot: Any, volume: float, store: Store | None, **values: Any):
    return keep_book.move(**{
        "actor": scene.owner, "tank": tank, "kind": "fill", "lot": lot, "moved_on": DAY,
        "volume": litres(volume), "today": TODAY, "at": AT, "store": store, **values,
    })  # fmt: skip


def test_fill_draws_from_the_store_and_both_books_go_together(scene: Scene, lot: Any) -> None:
    tank, store = TankFactory(site=scene.site), receive(scene, lot).store
    row = fill(scene, tank, lot, 350, store)
    assert left(store) == pytest.approx(50)
    used = row.in_store.get()
    assert (used.kind, used.volume_typed) == ("use", "350 L")
    with pytest.raises(Refused, match="belongs to a movement of"):
        storing.withdraw(actor=scene.owner, movement=used, because="x", at=AT)
    new = keep_book.correct(
        actor=scene.owner, movement=row, because="misread", today=TODAY, at=AT,
        lot=lot, moved_on=DAY, volume=litres(250), store=store,
    )  # fmt: skip
    assert left(store) == pytest.approx(150)
    keep_book.withdraw(actor=scene.owner, movement=new, because="never took place", at=AT)
    assert left(store) == pytest.approx(400)
    assert not contents(tank, tank.movements.select_related("lot"), TODAY).volumes


def test_fill_of_more_than_the_store_holds_leaves_both_books_as_they_were(
    scene: Scene, lot: Any
) -> None:
    tank, store = TankFactory(site=scene.site), receive(scene, lot).store
    with pytest.raises(Refused) as refused:
        fill(scene, tank, lot, 401, store)
    assert (refused.value.code, refused.value.place) == ("more_than_in_store", "volume")
    assert not tank.movements.exists()
    assert left(store) == pytest.approx(400)


def test_store_of_another_lot_site_or_of_waste_fills_no_tank(scene: Scene, lot: Any) -> None:
    tank = TankFactory(site=scene.site)
    other = ConcentrateLotFactory(owner=scene.owner.organisation)
    cases = {
        "other_lot": receive(scene, other).store,
        "not_supply": receive(scene, lot, standing="waste").store,
        "other_site": StoreMovementFactory(store__lot=lot).store,
    }
    for code, store in cases.items():
        with pytest.raises(Refused) as refused:
            fill(scene, tank, lot, 10, store)
        assert refused.value.code == code
    assert not tank.movements.exists()


def test_drained_waste_waits_by_its_lots_until_it_is_taken_away(scene: Scene, lot: Any) -> None:
    """600 L and 200 L mixed: of 400 L drawn off, three quarters are the first lot."""
    tank, other = TankFactory(site=scene.site), ConcentrateLotFactory(owner=scene.site.owner)
    TankFillFactory(tank=tank, lot=lot, volume=0.6, volume_typed="600 L")
    TankFillFactory(
        tank=tank, lot=other, kind="top_up", volume=0.2, volume_typed="200 L", position=1,
        allowed_by="R. Invented", allowed_because="for this test",
    )  # fmt: skip
    row = keep_book.move(
        actor=scene.owner, tank=tank, kind="draw_off", moved_on=DAY, volume=litres(400),
        reason="leak", today=TODAY, at=AT, as_waste=True,
    )  # fmt: skip
    waste = {store.lot: store for store in Store.objects.filter(standing="waste")}
    assert {found: left(store) for found, store in waste.items()} == {
        lot: pytest.approx(300), other: pytest.approx(100),
    }  # fmt: skip
    note(scene, waste[lot], "disposal", 300, moved_on=date(2024, 4, 1))
    with pytest.raises(Refused) as refused:  # it was taken away, so it was there
        keep_book.withdraw(actor=scene.owner, movement=row, because="no", at=AT)
    assert refused.value.code == "more_than_in_store"
    drain = keep_book.move(
        actor=scene.owner, tank=tank, kind="drain", moved_on=date(2024, 5, 1), volume=None,
        reason="end of life", today=TODAY, at=AT, as_waste=True,
    )  # fmt: skip
    assert left(waste[lot]) == pytest.approx(300)
    assert left(waste[other]) == pytest.approx(200)
    keep_book.withdraw(actor=scene.owner, movement=drain, because="no", at=AT)
    assert left(waste[lot]) == pytest.approx(0)


def test_waste_of_a_tank_that_held_nothing_is_not_guessed(scene: Scene) -> None:
    with pytest.raises(Refused) as refused:
        keep_book.move(
            actor=scene.owner, tank=TankFactory(site=scene.site), kind="drain", moved_on=DAY,
            volume=litres(10), reason="rinse", today=TODAY, at=AT, as_waste=True,
        )  # fmt: skip
    assert (refused.value.code, refused.value.place) == ("nothing_known", "as_waste")


def test_site_with_something_in_store_is_not_retired(scene: Scene, lot: Any) -> None:
    store = receive(scene, lot).store
    for thing in (scene.proportioner, scene.system, scene.tank):
        retiring.retire(actor=scene.owner, row=thing, on=TODAY, today=TODAY)
    with pytest.raises(Refused, match="in store"):
        retiring.retire(actor=scene.owner, row=scene.site, on=TODAY, today=TODAY)
    note(scene, store, "disposal", 400)
    retiring.retire(actor=scene.owner, row=scene.site, on=TODAY, today=TODAY)
    with pytest.raises(Refused, match="retired"):
        receive(scene, lot)


# The whole book -----------------------------------------------------------------------------------

moves = st.lists(
    st.tuples(st.booleans(), st.integers(1, 9), st.integers(1, 28)), min_size=1, max_size=14
)


@given(moves)
@settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_order_of_writes_ever_leaves_a_day_below_zero(db: None, written: Any) -> None:
    """Held against the same book summed by day, in whole litres and with no code of ours."""
    with transaction.atomic():
        store = StoreFactory()
        actor = _owner_of(store)
        kept: list[tuple[int, int]] = []
        for goes_in, number, on in written:
            change = (on, number if goes_in else -number)
            possible = _never_below([*kept, change])
            refusal = nullcontext() if possible else pytest.raises(Refused, match="cannot have")
            with refusal:
                storing.note(
                    actor=actor, store=store, kind="receipt" if goes_in else "use", reason="x",
                    moved_on=date(2024, 3, on), volume=litres(number), today=TODAY,
                )  # fmt: skip
            kept += [change] if possible else []
        lines = store_book(store.movements.all())
        assert shortage(lines) == ""
        assert [line.movement.left for line in lines] == [line.left for line in lines]
        assert all(one.movement.moved_on <= two.movement.moved_on for one, two in pairwise(lines))
        transaction.set_rollback(True)


def _never_below(changes: list[tuple[int, int]]) -> bool:
    """Within a day in the order of writing, as the service puts them."""
    total = 0
    for _, change in sorted(changes, key=lambda one: one[0]):  # stable: the order of writing
        total += change
        if total < 0:
            return False
    return True


def _owner_of(store: Store) -> Actor:
    return actor_of(store.site.owner)


def test_lot_shows_to_whoever_sees_a_store_with_it(scene: Scene, lot: Any) -> None:
    for actor in (scene.contractor, scene.authority):
        assert not ConcentrateLot.objects.visible_to(actor).filter(pk=lot.pk).exists()
    receive(scene, lot)
    for actor in (scene.contractor, scene.authority):
        assert ConcentrateLot.objects.visible_to(actor).filter(pk=lot.pk).exists()
        assert [row.lot for row in queries_stores.stores_with(actor, lot)] == [lot]
