"""Days and zones that cannot be: refused with a sentence, and by the database where it can."""

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from itm.core.errors import Refused
from itm.registry import retiring, services
from tests.conftest import Scene
from tests.factories import TODAY, FoamSystemFactory, TankFactory

BEGAN, BEFORE = date(2020, 5, 6), date(2020, 5, 5)


def begun(scene: Scene, kind: str, **values: Any) -> Any:
    if kind == "tank":
        return TankFactory(site=scene.site, installed_on=BEGAN, **values)
    return FoamSystemFactory(site=scene.site, commissioned_on=BEGAN, **values)


@pytest.mark.parametrize("kind", ["tank", "system"])
def test_nothing_is_retired_before_it_began(scene: Scene, kind: str) -> None:
    row = begun(scene, kind)
    with pytest.raises(Refused, match=r"after th(e|at) day"):
        retiring.retire(actor=scene.owner, row=row, on=BEFORE, today=TODAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        begun(scene, kind, retired_on=BEFORE)
    row.refresh_from_db()
    assert retiring.retire(actor=scene.owner, row=row, on=BEGAN, today=TODAY).retired_on == BEGAN


def test_a_tank_whose_first_day_is_not_known_refuses_no_day(scene: Scene) -> None:
    """Older papers often lack it, and an empty day claims nothing."""
    row = TankFactory(site=scene.site, installed_on=None)
    assert retiring.retire(actor=scene.owner, row=row, on=BEFORE, today=TODAY).retired_on == BEFORE


@pytest.mark.parametrize("zone", ["Mars/Base", "", "Europe/lisbon ", "UTC+1"])
def test_a_time_zone_that_does_not_exist_is_refused(scene: Scene, zone: str) -> None:
    with pytest.raises(Refused) as refused:
        services.change_site(actor=scene.owner, site=scene.site, time_zone=zone)
    assert refused.value.place == "time_zone"
    scene.site.refresh_from_db()
    assert scene.site.time_zone == "Europe/Lisbon"
