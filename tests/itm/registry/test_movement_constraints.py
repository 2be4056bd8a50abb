"""What the database itself refuses of a movement, whoever writes past the services."""

from datetime import UTC, date, datetime
from importlib import import_module
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from itm.accounts.actor import system
from itm.core import triggers
from itm.registry import book
from itm.registry.models import Tank, TankMovement
from tests.conftest import Scene
from tests.factories import ConcentrateLotFactory, TankFactory, TankFillFactory

IN: dict[str, Any] = {"kind": "top_up", "volume": 0.01, "volume_typed": "10 L"}
OUT: dict[str, Any] = {"kind": "draw_off", "lot": None, "volume": 0.01, "volume_typed": "10 L",
                       "reason": "test"}  # fmt: skip
DRAIN: dict[str, Any] = {"kind": "drain", "lot": None, "reason": "changed over"}
AT = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("right", "wrong", "sentence"),
    [
        (IN, {"lot": None}, "names the lot that went in"),
        (IN, {"volume": 0}, "The volume is above 0"),
        (IN, {"volume": -0.01}, "The volume is above 0"),
        (IN, {"volume": None}, "only that of a drain may stay empty"),
        (IN, {"cleaned": "rinsed"}, "Only a drained tank is cleaned"),
        (IN, {"allowed_by": "R. Invented"}, "Leave to mix names both"),
        (IN, {"allowed_because": "letter"}, "Leave to mix names both"),
        (OUT, {"reason": ""}, "Say why it was taken out"),
        (OUT, {"kind": "top_up"}, "names the lot that went in"),
        (OUT, {"allowed_by": "R. Invented", "allowed_because": "letter"}, "belongs to a top-up"),
        (DRAIN, {"reason": ""}, "Say why it was taken out"),
        (DRAIN, {"residue_mg_l": -1}, "0 mg/L or more"),
        (IN, {"rinses": 3}, "Only a drained tank is cleaned"),
        (DRAIN, {"rinses": 3, "cleaned": ""}, "Say with what it was rinsed"),
        (DRAIN, {"rinse_volume": 0.1, "cleaned": ""}, "Say with what it was rinsed"),
        (DRAIN, {"rinses": 0, "cleaned": "water"}, "above 0, or stay empty"),
        (DRAIN, {"rinse_volume": 0, "cleaned": "water"}, "above 0, or stay empty"),
        (DRAIN, {"withdrawn_at": AT}, "A withdrawal says who, when and why"),
        (DRAIN, {"withdrawn_because": "slip"}, "A withdrawal says who, when and why"),
    ],
)
def test_database_refuses_with_a_sentence(
    scene: Scene, right: dict[str, Any], wrong: dict[str, Any], sentence: str
) -> None:
    def row(**changes: Any) -> TankMovement:
        lot = scene.tank.movements.filter(kind="fill").get().lot
        day = date(2025, 3, 1)
        return TankMovement(**{"tank": scene.tank, "lot": lot, "moved_on": day, **right, **changes})

    book.opened(scene.tank)
    with pytest.raises(IntegrityError), transaction.atomic():
        row(**wrong).save(by=scene.owner)
    with pytest.raises(ValidationError, match=sentence):
        row(**wrong).full_clean()
    row().full_clean()
    row().save(by=scene.owner)  # without the one thing wrong
    book.settled(scene.tank, [])


# The whole book. That it can't be so is arithmetic: what stands there is what went in less what
# came out, and lies between nothing and the capacity. The tank of the scene holds 0.95 of 1 m³
# from 2018 on.

LATER = date(2025, 3, 1)


def note(scene: Scene, **values: Any) -> TankMovement:
    """Past the services."""
    row = TankMovement(tank=scene.tank, moved_on=LATER, **values)
    row.save(by=scene.owner)
    return row


def with_lot(scene: Scene, values: dict[str, Any]) -> dict[str, Any]:
    return {"lot": scene.tank.movements.get().lot, **values}


@transaction.atomic
def note_in_open_book(scene: Scene, values: dict[str, Any], by_the_book: tuple[Any, Any]) -> None:
    """And closes it."""
    tank, _ = book.opened(scene.tank)
    held, left = by_the_book
    note(scene, **with_lot(scene, values), held=held, left=left)
    Tank._base_manager.filter(pk=tank.pk).update(writing=None)


def test_no_movement_goes_past_the_book(scene: Scene) -> None:
    fill = scene.tank.movements.get()
    writes = [
        lambda: note(scene, **with_lot(scene, IN)),
        lambda: note(scene, **OUT, held=0.95, left=0.94),  # nor one that holds together
        lambda: TankMovement._base_manager.update(volume=0.5),
        lambda: TankMovement._base_manager.update(moved_on=LATER),
        lambda: TankMovement._base_manager.filter(pk=fill.pk)._raw_delete("default"),
    ]
    for write in writes:
        with pytest.raises(IntegrityError, match="never past it"), transaction.atomic():
            write()
    assert scene.tank.movements.get().left == 0.95


@pytest.mark.parametrize(
    ("values", "by_the_book", "constraint"),
    [
        ({**IN, "kind": "fill"}, (0.95, 0.96), "movement_fill_into_empty"),
        ({**OUT, "volume": 2.0}, (0.95, -1.05), "movement_never_below_zero"),
        ({**OUT, "volume": 2.0}, (0.95, 0.0), "movement_left_follows"),
        ({**OUT, "volume": 0.5}, (0.95, 0.95), "movement_left_follows"),
        (IN, (0.95, 0.95), "movement_left_follows"),
        (DRAIN, (0.95, 0.95), "movement_left_follows"),
        (IN, (None, 0.96), "movement_book_is_whole"),
    ],
)
def test_a_line_cannot_say_what_does_not_follow(
    scene: Scene, values: dict[str, Any], by_the_book: tuple[Any, Any], constraint: str
) -> None:
    with pytest.raises(IntegrityError, match=constraint):
        note_in_open_book(scene, values, by_the_book)


@pytest.mark.parametrize(
    ("values", "by_the_book"),
    [
        (IN, (0.0, 0.01)),  # as if nothing stood there
        ({**IN, "kind": "fill"}, (0.0, 0.01)),  # a fill onto a fill
        ({**OUT, "volume": 1.0}, (1.0, 0.0)),  # more than there
        ({**IN, "volume": 0.1}, (0.95, 1.05)),  # more than the tank holds
        (IN, (None, None)),  # not worked out
    ],
)
def test_a_book_that_does_not_hold_together_is_not_closed(
    scene: Scene, values: dict[str, Any], by_the_book: tuple[Any, Any]
) -> None:
    with pytest.raises(IntegrityError, match="holds together"):
        note_in_open_book(scene, values, by_the_book)


@pytest.mark.django_db(transaction=True)
def test_an_open_book_is_not_committed() -> None:
    tank = TankFactory()
    lot = ConcentrateLotFactory(owner=tank.site.owner)

    @transaction.atomic
    def write() -> None:
        book.opened(tank)
        TankMovement(tank=tank, lot=lot, moved_on=LATER, **IN).save(by=system(LATER))

    with pytest.raises(IntegrityError):
        write()
    assert not tank.movements.exists()
    tank.refresh_from_db()
    assert tank.writing_id is None


def test_a_tank_is_not_made_smaller_than_what_its_book_says(scene: Scene) -> None:
    rows = Tank._base_manager.filter(pk=scene.tank.pk)
    with pytest.raises(IntegrityError, match="never more than the tank"), transaction.atomic():
        rows.update(usable_volume=0.8, capacity=0.9)
    rows.update(usable_volume=0.8, capacity=0.96)


def test_what_older_papers_got_wrong_stays_and_grows_no_further(scene: Scene) -> None:
    """A fill of 0.5 m³ onto 0.95 m³, which is 0.45 m³ more than the tank takes."""
    wrong = TankFillFactory(
        tank=scene.tank, lot=scene.tank.movements.get().lot, moved_on=LATER, volume=0.5
    )
    assert wrong.excess == pytest.approx(0.45)
    tank, before = book.opened(scene.tank)
    with pytest.raises(IntegrityError, match="never past it"), transaction.atomic():
        TankMovement._base_manager.filter(pk=wrong.pk).update(excess=0.46)
    # Mended by the drain that was not noted: nothing is too much any more, nor may it be again.
    row = TankMovement(tank=tank, moved_on=date(2025, 2, 28), **DRAIN)
    row.save(by=scene.owner)
    book.settled(tank, before)
    wrong.refresh_from_db()
    assert (wrong.held, wrong.left, wrong.excess) == (0, 0.5, None)
    book.opened(scene.tank)
    with pytest.raises(IntegrityError, match="never past it"), transaction.atomic():
        TankMovement._base_manager.filter(pk=wrong.pk).update(excess=0.1)
    book.settled(tank, [])


def test_migration_works_out_what_the_book_says(scene: Scene) -> None:
    """What was there before the columns: right lines, and each way in which papers are wrong."""
    lot = scene.tank.movements.get().lot
    for day, values in enumerate((
        {"kind": "draw_off", "volume": 0.4, "reason": "test", "lot": None},
        {"kind": "top_up", "volume": 0.5, "lot": lot},  # over the capacity
        {"kind": "fill", "volume": 0.2, "lot": lot},  # onto a fill, and over
        {"kind": "draw_off", "volume": 1.9, "reason": "test", "lot": None},  # more than there
        {"kind": "fill", "volume": 0.3, "lot": lot},
        {"kind": "drain", "volume": None, "reason": "test", "lot": None},
    ), start=1):  # fmt: skip
        TankFillFactory(tank=scene.tank, moved_on=date(2025, 3, day), **values)
    columns = ("kind", "held", "left", "excess")
    by_the_book = list(scene.tank.movements.in_force().values_list(*columns))
    assert [row[3] is not None for row in by_the_book] == [
        False, False, True, True, True, False, False,
    ]  # fmt: skip
    name = "0023_what_was_left"
    step = import_module(f"itm.registry.migrations.{name}")
    then = MigrationExecutor(connection).loader.project_state(("registry", name)).apps
    with triggers.lifted(connection):
        TankMovement._base_manager.update(held=None, left=None, excess=None)
        step.work_out(then, None)
        again = list(scene.tank.movements.in_force().values_list(*columns))
    for row, expected in zip(again, by_the_book, strict=True):
        assert row[0] == expected[0]
        assert row[1:] == tuple(pytest.approx(x, abs=1e-12) if x else x for x in expected[1:])
