"""Days and figures of the register that cannot be, or that are more often a slip."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from calc.units import FLOW
from itm.actions.change_proportioner import change_proportioner
from itm.core.errors import Refused
from itm.core.fields import DayField
from itm.core.quantities import apart, quantity
from itm.registry import queries, services
from itm.registry.forms import TankForm
from itm.registry.models import FoamSystem
from itm.registry.oddities import odd
from itm.registry.services import PointRow
from tests.factories import (
    TODAY,
    ConcentrateLotFactory,
    FoamSystemFactory,
    ProportionerFactory,
    TankFactory,
)

LATER = TODAY + timedelta(days=400)


def points(device):
    return [
        PointRow(p.name, quantity(*apart(p.flow_typed, FLOW), FLOW), p.key, p.retired_on)
        for p in queries.flow_points(device)
    ]


def test_a_last_test_to_come_would_hide_the_duty_until_then(scene):
    with pytest.raises(Refused, match="has not come yet") as refused:
        change_proportioner(
            actor=scene.owner, proportioner=scene.proportioner,
            flow_points=points(scene.proportioner), earlier_test_on=LATER,
            at=datetime(2026, 6, 15, 9, tzinfo=UTC),
        )  # fmt: skip
    assert (refused.value.code, refused.value.place) == ("day_ahead", "earlier_test_on")


@pytest.mark.parametrize("name", ["installed_on", "earlier_check_on"])
def test_nor_was_a_tank_installed_or_checked_on_a_day_to_come(scene, name):
    with pytest.raises(Refused) as refused:
        services.change_tank(actor=scene.owner, tank=scene.tank, **{name: LATER})
    assert (refused.value.code, refused.value.place) == ("day_ahead", name)


def test_nor_a_system_commissioned_or_a_lot_made(scene):
    with pytest.raises(Refused) as refused:
        services.change_system(
            actor=scene.owner, system=scene.system, commissioned_on=date(2090, 1, 1)
        )
    assert refused.value.place == "commissioned_on"
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    with pytest.raises(Refused) as refused:
        services.change_lot(actor=scene.owner, lot=lot, made_on=date(2090, 1, 1))
    assert refused.value.place == "made_on"


def test_history_of_past_years_is_taken(scene):
    old = date(1987, 3, 2)
    row = services.change_tank(actor=scene.owner, tank=scene.tank, earlier_check_on=old)
    assert row.earlier_check_on == old


@pytest.mark.parametrize("typed", ["1008-05-01", "0001-01-01", "9999-12-31"])
def test_a_year_that_is_a_slip_is_no_day(typed):
    field = DayField()
    with pytest.raises(ValidationError, match="is a slip"):
        field.clean(typed)


def test_a_form_of_a_tank_refuses_such_a_year(scene):
    form = TankForm({"installed_on": "1008-05-01"}, site=scene.site)
    assert "1008 is a slip" in form.errors["installed_on"][0]


def test_one_litre_of_a_million_cubic_metres_is_asked_about():
    tank = TankFactory.build(
        capacity=1e6, capacity_typed="1000000 m³", usable_volume=1e-3, usable_volume_typed="1 L"
    )
    assert [name for name, _ in odd(tank)] == ["capacity", "usable_volume"]
    assert "1 L of 1000000 m³" in odd(tank)[1][1]


def test_a_percent_with_its_point_lost_is_asked_about():
    assert odd(ProportionerFactory.build(nominal_percent=Decimal(30)))
    assert odd(ConcentrateLotFactory.build(nominal_percent=Decimal(30)))
    assert not odd(ProportionerFactory.build(nominal_percent=Decimal(6)))


def test_a_usual_register_is_asked_nothing(scene):
    for row in (scene.tank, scene.system, scene.proportioner, FoamSystemFactory.build()):
        assert odd(row) == []


def test_what_is_odd_stands_on_its_page(client, sign_in, scene):
    tank = TankFactory(
        site=scene.site, capacity=5.0, capacity_typed="5000 L", usable_volume=0.005,
        usable_volume_typed="5 L",
    )  # fmt: skip
    page = sign_in(client, scene.owner).get(reverse("tank", args=[tank.key])).content.decode()
    assert "Usable is 5 L of 5000 L" in page


def test_a_day_to_come_that_stands_from_before_keeps_nobody_from_a_new_name(scene):
    system = scene.system
    system.commissioned_on = date(2030, 1, 1)
    system.save(by=scene.owner)
    services.change_system(
        actor=scene.owner, system=system, name="Renamed", commissioned_on=date(2030, 1, 1)
    )
    assert FoamSystem.objects.get().name == "Renamed"
    system.commissioned_on = date(2031, 1, 1)  # as a form puts it into the row
    with pytest.raises(Refused):
        services.change_system(
            actor=scene.owner, system=system, name="Again", commissioned_on=date(2031, 1, 1)
        )
