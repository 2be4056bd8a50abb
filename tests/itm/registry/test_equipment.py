"""What equipment may be, where it may stand, and how it leaves.

Kinds and varieties are the words by which rows of programmes name things; that a valve has a normal
position which is put back after work is common practice, no published source.
"""

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from itm.core.errors import Forbidden, Refused
from itm.core.history import Change
from itm.registry import equipping, queries_equipment, retiring
from itm.registry.models import Equipment
from itm.registry.models.equipment import VARIETIES
from tests.conftest import Scene
from tests.factories import TODAY, EquipmentFactory, FoamSystemFactory, SiteFactory, TankFactory

VALVE: dict[str, Any] = {
    "tag": "V-101", "kind": "valve", "variety": "sealed", "normal_position": "closed",
}  # fmt: skip


def add(scene: Scene, **values: Any) -> Equipment:
    return equipping.add_equipment(
        actor=scene.owner, site=scene.site, today=TODAY, **{**VALVE, **values}
    )


def test_equipment_stands_at_system_tank_or_site_and_is_found_there(scene: Scene) -> None:
    at_system = add(scene, system=scene.system)
    at_tank = add(scene, tag="V-102", tank=scene.tank)
    at_site = add(scene, tag="DR-1", kind="drainage", variety="", normal_position="")
    assert [at_system.stands_at, at_tank.stands_at, at_site.stands_at] == [
        scene.system, scene.tank, scene.site,
    ]  # fmt: skip
    assert queries_equipment.equipment_of(scene.owner, scene.system) == [at_system]
    assert queries_equipment.equipment_of(scene.owner, scene.tank) == [at_tank]
    assert queries_equipment.equipment_counts(scene.owner, scene.site) == [
        ("valve", "Valve", 2), ("drainage", "Drainage and containment", 1),
    ]  # fmt: skip


def test_equipment_of_a_place_stands_by_kind_in_the_order_of_the_walk_back(scene: Scene) -> None:
    at = {"system": scene.system}
    pump = {"kind": "concentrate_pump", "variety": "", "normal_position": ""}
    for tag, more in {
        "P-1": pump, "V-3": {}, "V-2": {"walk_order": 2}, "V-9": {"walk_order": 1}, "V-1": {},
    }.items():  # fmt: skip
        add(scene, tag=tag, **at, **more)
    gone = add(scene, tag="V-0", walk_order=0, **at)
    retiring.retire(actor=scene.owner, row=gone, on=TODAY, today=TODAY)
    found = [row.tag for row in queries_equipment.equipment_of(scene.owner, scene.system)]
    assert found == ["V-9", "V-2", "V-1", "V-3", "P-1", "V-0"]


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"variety": "buried"}, "does not belong to that kind"),
        ({"variety": ""}, "does not belong to that kind"),
        ({"kind": "vent"}, "does not belong to that kind"),
        ({"normal_position": ""}, "A valve has a normal position"),
        ({"normal_position": "as_noted"}, "A valve has a normal position"),
        ({"kind": "vent", "variety": ""}, "other equipment has none"),
        ({"pieces": 0}, "at least one piece"),
    ],
)
def test_constraint_refuses_what_equipment_cannot_be(
    scene: Scene, values: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(Refused, match=sentence):
        add(scene, **values)
    with pytest.raises(IntegrityError), transaction.atomic():  # and so does the database itself
        EquipmentFactory(site=scene.site, system=scene.system, **{**VALVE, **values})


def test_every_variety_belongs_to_its_kind_and_to_no_other(scene: Scene) -> None:
    for number, (kind, _) in enumerate(Equipment.Kind.choices):
        position = "open" if kind == "valve" else ""
        for other in (*VARIETIES, ""):
            for variety in VARIETIES.get(other, {"": ""}):
                row = Equipment(
                    site=scene.site, tag=f"{number}", kind=kind, variety=variety,
                    normal_position=position,
                )  # fmt: skip
                fits = variety in VARIETIES.get(kind, {"": ""})
                broken = [
                    one.name
                    for one in Equipment._meta.constraints
                    if one.name == "equipment_variety_fits_kind" and not _holds(one, row)
                ]
                assert bool(broken) is not fits, (kind, variety)


def _holds(constraint: Any, row: Equipment) -> bool:
    try:
        constraint.validate(Equipment, row)
    except ValidationError:
        return False
    return True


def test_noted_position_is_kept_in_words(scene: Scene) -> None:
    row = add(scene, normal_position="as_noted", position_note="open two turns")
    row.refresh_from_db()
    assert (row.normal_position, row.position_note) == ("as_noted", "open two turns")


def test_tag_is_used_once_a_site_in_any_capitals_while_in_use(scene: Scene) -> None:
    first = add(scene, tag="v-7", system=scene.system)
    with pytest.raises(Refused, match="already has equipment with that tag"):
        add(scene, tag="V-7", tank=scene.tank)
    retiring.retire(actor=scene.owner, row=first, on=TODAY, today=TODAY)
    assert add(scene, tag="V-7").pk
    with pytest.raises(Refused, match="already has equipment with that tag"):
        retiring.take_back(actor=scene.owner, row=first)


def test_equipment_stands_at_one_place_of_its_own_site(scene: Scene) -> None:
    with pytest.raises(Refused, match="choose one"):
        add(scene, system=scene.system, tank=scene.tank)
    for name, place in (("system", FoamSystemFactory()), ("tank", TankFactory())):
        with pytest.raises(Refused, match="another site") as refused:
            add(scene, **{name: place})
        assert refused.value.place == name


def test_day_of_installing_has_come_and_is_not_after_retiring(scene: Scene) -> None:
    with pytest.raises(Refused, match="not come yet"):
        add(scene, installed_on=date(2026, 6, 16))
    row = add(scene, installed_on=date(2026, 6, 1))
    with pytest.raises(Refused, match="before the day on which it was installed"):
        retiring.retire(actor=scene.owner, row=row, on=date(2026, 5, 31), today=TODAY)


def test_only_the_owner_of_the_site_adds_and_changes(scene: Scene) -> None:
    row = add(scene)
    for actor in (scene.contractor, scene.authority):
        with pytest.raises(Forbidden):
            equipping.add_equipment(actor=actor, site=scene.site, today=TODAY, **VALVE)
        with pytest.raises(Forbidden):
            equipping.change_equipment(actor=actor, equipment=row, today=TODAY, tag="V-9")
    assert Equipment.objects.get(site=scene.site).tag == "V-101"


def test_change_stands_in_the_history_with_its_person(scene: Scene) -> None:
    row = add(scene)
    equipping.change_equipment(actor=scene.owner, equipment=row, today=TODAY, size="DN 80")
    last = Change.objects.filter(model="registry.Equipment", object_key=row.key).last()
    assert last is not None
    assert (last.before, last.after) == ({"size": ""}, {"size": "DN 80"})
    assert last.person == scene.owner.person


def test_equipment_leaves_with_its_place_and_comes_back_with_it(scene: Scene) -> None:
    tank = TankFactory(site=scene.site)
    stays, left_before = add(scene, tank=tank), add(scene, tag="V-102", tank=tank)
    retiring.retire(actor=scene.owner, row=left_before, on=TODAY, today=TODAY)
    assert retiring.leaves_along(tank) == 1
    retiring.retire(actor=scene.owner, row=tank, on=TODAY, today=TODAY)
    stays.refresh_from_db()
    assert stays.retired_on == TODAY
    with pytest.raises(Refused, match="is retired since"):
        retiring.take_back(actor=scene.owner, row=stays)
    with pytest.raises(Refused, match="is retired since"):
        add(scene, tag="V-9", tank=tank)
    retiring.take_back(actor=scene.owner, row=tank)
    for row, day in ((stays, None), (left_before, TODAY)):
        row.refresh_from_db()
        assert row.retired_on == day
    verbs = Change.objects.filter(object_key=stays.key).values_list("verb", flat=True)
    assert list(verbs) == ["created", "retired", "taken back"]


def test_equipment_of_the_site_alone_leaves_and_returns_with_the_site(scene: Scene) -> None:
    site = SiteFactory(owner=scene.owner.organisation)
    drain = EquipmentFactory(
        site=site, system=None, kind="drainage", variety="", normal_position=""
    )
    system = FoamSystemFactory(site=site)
    valve = EquipmentFactory(site=site, system=system)
    for row in (system, site):
        retiring.retire(actor=scene.owner, row=row, on=TODAY, today=TODAY)
    site.refresh_from_db()
    retiring.take_back(actor=scene.owner, row=site)
    drain.refresh_from_db()
    valve.refresh_from_db()
    assert (drain.retired_on, valve.retired_on) == (None, TODAY)  # the system is still away


def test_place_does_not_leave_before_the_day_its_equipment_came(scene: Scene) -> None:
    tank = TankFactory(site=scene.site)
    add(scene, tank=tank, installed_on=TODAY)
    with pytest.raises(Refused, match="V-101 stands there since 15 Jun 2026"):
        retiring.retire(actor=scene.owner, row=tank, on=date(2026, 6, 14), today=TODAY)
    tank.refresh_from_db()
    assert tank.retired_on is None


def test_place_whose_tags_were_given_away_names_the_one_in_the_way(scene: Scene) -> None:
    tank = TankFactory(site=scene.site)
    add(scene, tank=tank)
    retiring.retire(actor=scene.owner, row=tank, on=TODAY, today=TODAY)
    add(scene)
    with pytest.raises(Refused, match="V-101: This site already has equipment with that tag"):
        retiring.take_back(actor=scene.owner, row=tank)
    tank.refresh_from_db()
    assert tank.retired_on == TODAY
