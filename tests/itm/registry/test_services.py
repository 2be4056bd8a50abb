"""What the registry's services refuse, to every door in the same words."""

from datetime import date
from typing import Any

import pytest
from django.db.models.signals import pre_save

from calc.units import FLOW, VOLUME
from itm.actions.add_proportioner import add_proportioner
from itm.actions.add_tank import add_tank
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.core.quantities import Quantity, quantity
from itm.registry import retiring, services
from itm.registry.models import FlowPoint, Grant, Proportioner, Site, Tank
from itm.registry.overseeing import add_authority
from itm.registry.restoring import FLUSH_ORDER
from itm.registry.services import PointRow
from itm.schedule.models import Duty
from tests.conftest import Scene
from tests.factories import (
    TODAY,
    FoamSystemFactory,
    GrantFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteFactory,
    TankFactory,
    actor_of,
)


def flow(litres: float) -> Quantity:
    return quantity(str(litres), "L/min", FLOW)


POINTS = [PointRow("minimum", flow(420)), PointRow("design", flow(2100))]
DEVICE: dict[str, Any] = {
    "tag": "PR-9",
    "kind": "electronic",
    "nominal_percent": "3",
    "flush_order": FLUSH_ORDER,
    "restoration_order": ["Valve open"],
}


def test_refusal_names_the_place_and_nothing_is_saved(scene: Scene) -> None:
    with pytest.raises(Refused) as refused:
        services.add_site(actor=scene.owner, name="Depot", time_zone="Mars/Base")
    assert refused.value.place == "time_zone"
    assert "“Mars/Base”" in refused.value.sentence
    assert not Site.objects.filter(name="Depot").exists()


def test_quantity_goes_to_the_si_column_and_to_what_was_typed(scene: Scene) -> None:
    tank = add_tank(
        actor=scene.owner, site=scene.site, tag="T-9", kind="atmospheric",
        capacity=quantity("1 200", "L", VOLUME), usable_volume=quantity("1,1", "m³", VOLUME),
    )  # fmt: skip
    tank.refresh_from_db()
    assert (tank.capacity, tank.capacity_typed) == (pytest.approx(1.2, rel=1e-15), "1 200 L")
    assert (tank.usable_volume, tank.usable_volume_typed) == (1.1, "1,1 m³")
    assert not Duty.objects.filter(tank=tank).exists()  # it protects nothing yet


def test_first_proportioner_on_a_tank_starts_both_duties_once(scene: Scene) -> None:
    tank = TankFactory(site=scene.site)
    for tag in ("PR-9", "PR-10"):
        add_proportioner(
            actor=scene.owner, system=scene.system, flow_points=POINTS,
            **{**DEVICE, "tag": tag, "tank": tank},
        )  # fmt: skip
    assert Duty.objects.filter(tank=tank).count() == 1
    assert Duty.objects.filter(proportioner__tank=tank).count() == 2


def test_tank_of_a_proportioner_changes_by_a_move_and_not_unseen(scene: Scene) -> None:
    with pytest.raises(Refused, match="by a move") as refused:
        services.change_proportioner(
            actor=scene.owner, proportioner=scene.proportioner, flow_points=POINTS,
            tank=TankFactory(site=scene.site),
        )  # fmt: skip
    assert refused.value.code == "moves"


def test_proportioner_with_wrong_flow_points_leaves_nothing_behind(scene: Scene) -> None:
    before = Change.objects.count()
    with pytest.raises(Refused) as refused:
        add_proportioner(
            actor=scene.owner, system=scene.system, flow_points=POINTS[:1],
            **{**DEVICE, "tank": scene.tank},
        )  # fmt: skip
    assert (refused.value.code, refused.value.place) == ("flow_point_missing", "flow_points")
    assert not Proportioner.objects.filter(tag="PR-9").exists()
    assert Change.objects.count() == before


def test_name_moves_from_one_flow_point_to_another(scene: Scene) -> None:
    row = scene.proportioner
    old = {point.name: point for point in row.flow_points.all()}
    services.change_proportioner(
        actor=scene.owner, proportioner=row, tank=row.tank,
        flow_points=[
            PointRow("minimum", flow(600), old["minimum"].key),
            PointRow("design", flow(2100)),
            PointRow("design", flow(1900), old["design"].key, retired_on=date(2026, 1, 1)),
        ],
    )  # fmt: skip
    assert FlowPoint.objects.get(proportioner=row, name="design", retired_on=None).flow_typed == (
        "2100 L/min"
    )
    old["design"].refresh_from_db()
    assert old["design"].retired_on == date(2026, 1, 1)


def test_flow_point_of_another_proportioner_is_not_found(scene: Scene) -> None:
    foreign = ProportionerFactory().flow_points.first()
    kept = [PointRow(p.name, flow(800), p.key) for p in scene.proportioner.flow_points.all()]
    with pytest.raises(NotFound):
        services.change_proportioner(
            actor=scene.owner, proportioner=scene.proportioner, tank=scene.tank,
            flow_points=[*kept, PointRow("half", flow(900), foreign.key)],
        )  # fmt: skip
    flows = [point.flow_typed for point in scene.proportioner.flow_points.all()]
    assert flows == ["600 L/min", "1900 L/min"]  # all or nothing


def test_tank_of_another_site_is_refused(scene: Scene) -> None:
    with pytest.raises(Refused, match="another site") as refused:
        add_proportioner(
            actor=scene.owner, system=scene.system, flow_points=POINTS,
            **{**DEVICE, "tank": TankFactory()},
        )  # fmt: skip
    assert refused.value.place == "tank"


@pytest.mark.parametrize("who", ["contractor", "authority"])
def test_only_an_owner_writes_on_a_site(scene: Scene, who: str) -> None:
    actor = getattr(scene, who)
    with pytest.raises(Forbidden, match="Only a facility owner can change a site"):
        services.change_site(actor=actor, site=scene.site, name="Taken over")
    with pytest.raises(Forbidden):
        retiring.retire(
            actor=actor, row=scene.proportioner, on=date(2026, 1, 1), today=date(2026, 6, 1)
        )
    scene.site.refresh_from_db()
    assert scene.site.name != "Taken over"


def test_another_owner_writes_nothing_even_with_the_row_in_hand(scene: Scene) -> None:
    stranger = actor_of(OrganisationFactory())
    with pytest.raises(Forbidden, match="Only the organisation that it belongs to"):
        services.change_tank(actor=stranger, tank=scene.tank, tag="Mine")
    with pytest.raises(Forbidden):
        retiring.take_back(actor=stranger, row=scene.system)


def test_somebody_faster_is_a_conflict_in_words(scene: Scene) -> None:
    """The rival's row lands between our check and our write; the constraint has the last word."""
    done = []

    def rival(sender: Any, instance: Tank, **kwargs: Any) -> None:
        if not done:
            done.append(True)
            TankFactory(site=scene.site, tag="T-9")

    volume = quantity("1", "m³", VOLUME)
    pre_save.connect(rival, sender=Tank)
    try:
        with pytest.raises(Conflict, match="Somebody saved the same thing a moment before"):
            services.add_tank(
                actor=scene.owner, site=scene.site, tag="T-9", kind="bladder", capacity=volume,
                usable_volume=volume,
            )  # fmt: skip
    finally:
        pre_save.disconnect(rival, sender=Tank)


@pytest.mark.parametrize(
    ("starts_on", "ends_on", "refused"),
    [
        (date(2020, 3, 31), None, True),  # the last day belongs to the engagement
        (date(2020, 4, 1), None, False),
        (date(2019, 1, 1), date(2020, 1, 1), True),
        (date(2019, 1, 1), date(2019, 12, 31), False),
        (date(2019, 1, 1), None, True),
    ],
)
def test_engagements_of_one_contractor_do_not_overlap(
    scene: Scene, starts_on: date, ends_on: date | None, refused: bool
) -> None:
    site = SiteFactory(owner=scene.owner.organisation)
    firm = scene.contractor.organisation
    GrantFactory(
        site=site, organisation=firm, starts_on=date(2020, 1, 1), ends_on=date(2020, 3, 31)
    )
    values = {"site": site, "organisation": firm, "starts_on": starts_on, "ends_on": ends_on}
    if refused:
        with pytest.raises(Refused) as refusal:
            services.engage(actor=scene.owner, **values)
        assert refusal.value.code == "already_engaged"
    else:
        services.engage(actor=scene.owner, **values)
    assert Grant.objects.filter(site=site).count() == (1 if refused else 2)


def test_only_contractors_are_engaged_and_only_authorities_named(scene: Scene) -> None:
    other = OrganisationFactory(kind="owner")
    with pytest.raises(Refused, match="is not a contractor"):
        services.engage(
            actor=scene.owner, site=scene.site, organisation=other, starts_on=date(2026, 1, 1)
        )
    with pytest.raises(Refused, match="is not an authority"):
        add_authority(
            actor=scene.owner, site=scene.site, organisation=other, scope="fire", today=TODAY
        )


def test_nothing_is_added_to_what_is_retired(scene: Scene) -> None:
    site = SiteFactory(owner=scene.owner.organisation, retired_on=date(2025, 1, 1))
    system = FoamSystemFactory(site=scene.site, retired_on=date(2025, 1, 1))
    with pytest.raises(Refused, match="retired since 1 Jan 2025"):
        services.add_system(actor=scene.owner, site=site, name="Late")
    with pytest.raises(Refused, match="retired since 1 Jan 2025"):
        add_proportioner(
            actor=scene.owner, system=system, flow_points=POINTS, **{**DEVICE, "tank": scene.tank}
        )
