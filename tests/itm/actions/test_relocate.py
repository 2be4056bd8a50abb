"""Things come to another system or tank of their site, and it is kept where they stood.

That a move keeps its day, its reason and its person is common practice, no published source.
"""

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from itm.actions.relocate import relocate, take_move_back
from itm.core.errors import Forbidden, Refused
from itm.core.history import Change
from itm.registry.models import Relocation
from itm.schedule.models import Duty
from itm.schedule.things import first_counts_from
from tests.conftest import Scene
from tests.deeds import prepared, tested
from tests.factories import (
    TODAY,
    EquipmentFactory,
    FoamSystemFactory,
    RelocationFactory,
    TankFactory,
)

DAY = date(2026, 6, 1)


def move(scene: Scene, row: Any, *, on: date | None = DAY, **to: Any) -> Any:
    where = {"system": row.system, "tank": row.tank, **to}
    return relocate(actor=scene.owner, row=row, on=on, today=TODAY, reason="rebuilt", **where)


def test_proportioner_comes_to_another_system_and_tank_and_its_history_with_it(
    scene: Scene,
) -> None:
    device, begun = scene.proportioner, first_counts_from(scene.proportioner)
    system = FoamSystemFactory(site=scene.site, commissioned_on=date(2025, 1, 1))
    tank = TankFactory(site=scene.site)
    assert not Duty.objects.filter(tank=tank).exists()
    move(scene, device, system=system, tank=tank)
    device.refresh_from_db()
    assert (device.system, device.tank) == (system, tank)
    kept = Relocation.objects.get(proportioner=device)
    assert (kept.from_system, kept.from_tank) == (scene.system, scene.tank)
    assert str(kept) == (
        f"{device} from {scene.system}, tank {scene.tank} to {system}, tank {tank}"
    )
    assert (kept.moved_on, kept.reason, kept.noted_by) == (DAY, "rebuilt", scene.owner.person)
    # A tank that now protects something has its check due, and the yearly test goes on from the
    # first commissioning and not from that of a system built later.
    assert Duty.objects.filter(tank=tank).exists()
    assert first_counts_from(device) == begun


def test_valve_comes_from_a_system_to_a_tank_and_to_the_site_alone(scene: Scene) -> None:
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    move(scene, valve, system=None, tank=scene.tank)
    move(scene, valve, system=None, tank=None, on=date(2026, 6, 2))
    places = [(str(one.start), str(one.end)) for one in valve.relocations.all()]
    assert places == [
        (f"tank {scene.tank}", "the site alone"), (str(scene.system), f"tank {scene.tank}"),
    ]  # fmt: skip
    valve.refresh_from_db()
    assert valve.stands_at == scene.site


def test_slip_is_put_right_without_a_move_and_stands_in_the_history(scene: Scene) -> None:
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    move(scene, valve, on=None, system=None, tank=scene.tank)
    assert not Relocation.objects.exists()
    last = Change.objects.filter(object_key=valve.key).last()
    assert last is not None
    assert (last.verb, last.after) == ("changed", {"system_id": None, "tank_id": scene.tank.pk})


@pytest.mark.parametrize(
    ("code", "to"),
    [
        ("same_place", {}),
        ("other_site", {"system": "elsewhere"}),
        ("retired", {"system": "retired"}),
        ("day_ahead", {"system": "other", "on": date(2026, 6, 16)}),
        ("before_installing", {"system": "other", "on": date(2019, 12, 31)}),
        ("not_valid", {"tank": "tank"}),
    ],
)
def test_move_that_cannot_have_been_is_refused_and_nothing_is_kept(
    scene: Scene, code: str, to: dict[str, Any]
) -> None:
    places = {
        "elsewhere": FoamSystemFactory(),
        "retired": FoamSystemFactory(site=scene.site, retired_on=date(2025, 1, 1)),
        "other": FoamSystemFactory(site=scene.site),
        "tank": scene.tank,
    }
    valve = EquipmentFactory(site=scene.site, system=scene.system, installed_on=date(2020, 1, 1))
    with pytest.raises(Refused) as refused:
        move(scene, valve, **{name: places.get(value, value) for name, value in to.items()})
    assert refused.value.code == code
    valve.refresh_from_db()
    assert valve.system == scene.system
    assert not Relocation.objects.exists()


def test_moves_are_kept_in_the_order_of_their_days(scene: Scene) -> None:
    other = FoamSystemFactory(site=scene.site)
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    move(scene, valve, system=other)
    with pytest.raises(Refused, match=f"It came to {other} on 1 Jun 2026, after that day."):
        move(scene, valve, system=scene.system, on=date(2026, 5, 31))


def test_last_move_is_taken_back_and_stays_a_row_that_says_so(scene: Scene) -> None:
    other = FoamSystemFactory(site=scene.site)
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    move(scene, valve, system=other)
    move(scene, valve, system=None, tank=scene.tank, on=TODAY)
    last, first = valve.relocations.all()
    with pytest.raises(Refused, match="only the last move is taken back"):
        take_move_back(actor=scene.owner, move=first, today=TODAY)
    for _ in range(2):  # may run twice
        take_move_back(actor=scene.owner, move=last, today=TODAY)
    valve.refresh_from_db()
    last.refresh_from_db()
    assert (valve.system, valve.tank, last.taken_back_on) == (other, None, TODAY)
    take_move_back(actor=scene.owner, move=first, today=TODAY)
    valve.refresh_from_db()
    assert valve.system == scene.system


def test_move_to_where_something_was_put_right_since_is_not_taken_back(scene: Scene) -> None:
    other, third = FoamSystemFactory(site=scene.site), FoamSystemFactory(site=scene.site)
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    move(scene, valve, system=other)
    move(scene, valve, system=third, on=None)
    with pytest.raises(Refused, match="moved or put right since"):
        take_move_back(actor=scene.owner, move=valve.relocations.get(), today=TODAY)


def test_proportioner_stays_while_a_test_of_it_is_under_way(scene: Scene) -> None:
    other = FoamSystemFactory(site=scene.site)
    prepared(scene)
    with pytest.raises(Refused, match="sign or abandon it"):
        move(scene, scene.proportioner, system=other)


def test_sealed_test_keeps_the_names_it_was_signed_under(scene: Scene) -> None:
    test = tested(scene)
    before = bytes(test.seal.document)
    other = FoamSystemFactory(site=scene.site, name="Another rack")
    move(scene, scene.proportioner, system=other)
    test.refresh_from_db()
    assert bytes(test.seal.document) == before
    assert scene.system.name.encode() in before


def test_only_the_owner_of_the_site_moves_its_things(scene: Scene) -> None:
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    for actor in (scene.contractor, scene.authority):
        with pytest.raises(Forbidden):
            relocate(actor=actor, row=valve, system=None, tank=None, on=DAY, today=TODAY)


@pytest.mark.parametrize(
    "broken",
    [
        {"equipment": None},
        {"from_tank": "tank", "from_system": "system"},
        {"to_system": None},
        {"proportioner": "proportioner", "equipment": None},
    ],
)
def test_database_itself_refuses_a_move_of_nothing_or_to_nowhere(
    scene: Scene, broken: dict[str, Any]
) -> None:
    things = {name: getattr(scene, name) for name in ("tank", "system", "proportioner")}
    values = {name: things.get(value, value) for name, value in broken.items()}
    with pytest.raises(IntegrityError), transaction.atomic():
        RelocationFactory(
            site=scene.site, to_system=values.pop("to_system", scene.system),
            **{"equipment": EquipmentFactory(site=scene.site), **values},
        )  # fmt: skip
