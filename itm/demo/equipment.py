"""Valves, strainers, pumps and the rest of the invented world, their moves and their pictures."""

import io
from datetime import timedelta
from typing import Any

from PIL import Image, ImageDraw

from itm.accounts.actor import Actor
from itm.actions.relocate import relocate
from itm.core.clock import date_at
from itm.demo.scenario import Ages
from itm.registry.attaching import Upload, attach
from itm.registry.equipping import add_equipment
from itm.registry.models import Equipment, FoamSystem, Site, Tank


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
    for one in told.get("moves", []):
        _move(actor, site, one, ages)
    for one in told.get("files", []):
        _attach(actor, site, one, ages)


def _move(actor: Actor, site: Site, told: dict[str, Any], ages: Ages) -> None:
    relocate(
        actor=actor, row=Equipment.objects.get(site=site, tag=told["tag"]),
        system=FoamSystem.objects.get(site=site, name=told["to_system"]), tank=None,
        on=ages.day(told["days_ago"], site.time_zone), today=date_at(site.time_zone, ages.now),
        reason=told["reason"],
    )  # fmt: skip


def _attach(actor: Actor, site: Site, told: dict[str, Any], ages: Ages) -> None:
    """On the thing with that tag, or on the site alone."""
    tag = told["tag"]
    target = Equipment.objects.get(site=site, tag=tag) if tag else site
    drawn = Upload(io.BytesIO(drawing(told["lines"])), told["name"])
    attach(
        actor=actor, site=site, target=target, uploads=[drawn], caption=told["caption"],
        at=ages.now - timedelta(days=told["days_ago"]),
    )  # fmt: skip


def drawing(lines: list[str]) -> bytes:
    """A plate with these lines on it: the demo holds no photo of anybody's equipment."""
    plate = Image.new("RGB", (640, 120 + 80 * len(lines)), "#d8d8d4")
    pen = ImageDraw.Draw(plate)
    pen.rectangle((20, 20, 619, plate.height - 21), outline="#222222", width=4)
    for number, line in enumerate(lines):
        pen.text((60, 60 + 80 * number), line, fill="#222222", font_size=36)
    out = io.BytesIO()
    plate.save(out, "PNG")
    return out.getvalue()


def _add(actor: Actor, site: Site, told: dict[str, Any], ages: Ages, **at: Any) -> None:
    values = dict(told)
    days_ago = values.pop("installed_on_days_ago", None)
    if days_ago is not None:
        values["installed_on"] = ages.day(days_ago, site.time_zone)
    add_equipment(actor=actor, site=site, today=date_at(site.time_zone, ages.now), **at, **values)
