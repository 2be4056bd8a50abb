"""Valves, strainers, pumps and the rest of the invented world."""

from typing import Any

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.demo.scenario import Ages
from itm.registry.equipping import add_equipment
from itm.registry.models import FoamSystem, Site, Tank


def equip(actor: Actor, site: Site, told: dict[str, Any], ages: Ages) -> None:
    """What stands at the site alone, at its tanks and at its systems."""
    for one in told["site"]:
        _add(actor, site, one, ages)
    for tag, things in told["tanks"].items():
        tank = Tank.objects.get(site=site, tag=tag)
        for one in things:
            _add(actor, site, one, ages, tank=tank)
    for name, things in told["systems"].items():
        system = FoamSystem.objects.get(site=site, name=name)
        for one in things:
            _add(actor, site, one, ages, system=system)


def _add(actor: Actor, site: Site, told: dict[str, Any], ages: Ages, **at: Any) -> None:
    values = dict(told)
    days_ago = values.pop("installed_on_days_ago", None)
    if days_ago is not None:
        values["installed_on"] = ages.day(days_ago, site.time_zone)
    add_equipment(actor=actor, site=site, today=date_at(site.time_zone, ages.now), **at, **values)
