"""Days and zones that cannot be: refused with a sentence, and by the database."""

from datetime import date
from typing import Any
from zoneinfo import available_timezones

import pytest
from django.db import IntegrityError, connection, transaction

from itm.core import triggers
from itm.core.errors import Refused
from itm.core.triggers import Rule
from itm.registry import retiring, services
from itm.registry.models import Site
from itm.registry.models.sites import known_zones
from tests.conftest import Scene
from tests.factories import TODAY, FoamSystemFactory, SiteFactory, TankFactory

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
    rows = Site._base_manager.filter(pk=scene.site.pk)
    with pytest.raises(IntegrityError, match="no time zone"), transaction.atomic():
        rows.update(time_zone=zone)
    with pytest.raises(IntegrityError, match="no time zone"), transaction.atomic():
        SiteFactory(time_zone=zone)
    scene.site.refresh_from_db()
    assert scene.site.time_zone == "Europe/Lisbon"
    rows.update(time_zone="Asia/Tokyo")


def test_every_zone_that_is_offered_has_a_clock() -> None:
    """Held against the standard library, which may know more from the machine's own list."""
    assert known_zones() <= available_timezones()
    assert {"UTC", "Europe/Lisbon", "America/Argentina/Buenos_Aires"} <= known_zones()


@pytest.mark.django_db
def test_an_older_list_of_zones_in_the_database_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """As after an update of the list without a migrate."""
    later = Rule("UPDATE", "1 = 0", "of a later list")
    monkeypatch.setattr(Site, "guard_rules", {**Site.guard_rules, "zone_later": later})
    assert triggers.missing(connection) == ["guard_registry_site_zone_later"]
