"""Drums and waste of the invented world, and the papers that hang on lots and certificates."""

import io
from datetime import timedelta
from typing import Any

from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.demo.equipment import drawing
from itm.demo.scenario import Ages, volume
from itm.registry import storing
from itm.registry.attaching import Apart, Upload, attach
from itm.registry.models import ConcentrateLot, Site, Store

WORDS = ("containers", "paper", "reason")


def stock(
    actor: Actor, site: Site, lots: dict[str, ConcentrateLot], told: list[dict[str, Any]],
    ages: Ages,
) -> None:  # fmt: skip
    """What came to the site in drums."""
    for one in told:
        storing.receive(
            actor=actor, site=site, lot=lots[one["lot"]], standing=one["standing"],
            where=one["where"], **_moved(site, one, ages),
        )  # fmt: skip


def take_away(actor: Actor, site: Site, told: list[dict[str, Any]], ages: Ages) -> None:
    """Waste that left the site under a paper."""
    for one in told:
        store = Store.objects.get(site=site, lot__batch=one["lot"], standing="waste")
        storing.note(actor=actor, store=store, kind="disposal", **_moved(site, one, ages))


def _moved(site: Site, one: dict[str, Any], ages: Ages) -> dict[str, Any]:
    return {
        "moved_on": ages.working_day(one["days_ago"], site.time_zone),
        "volume": volume(one["volume"]),
        "today": date_at(site.time_zone, ages.now),
        **{name: one.get(name, "") for name in WORDS},
    }


def supply(site: Site, lot: ConcentrateLot) -> Store:
    return Store.objects.get(site=site, lot=lot, standing="supply")


def paper(actor: Actor, target: Apart, told: dict[str, Any], ages: Ages) -> None:
    """A drawn sheet that says of itself that it is invented."""
    sheet = Upload(io.BytesIO(drawing(told["lines"])), told["name"])
    attach(
        actor=actor, site=None, target=target, uploads=[sheet], caption=told["caption"],
        at=ages.now - timedelta(days=told["days_ago"]),
    )  # fmt: skip
