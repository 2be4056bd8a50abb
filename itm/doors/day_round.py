"""A day of the owner's own people: what is to be inspected at one site, with no visit of a crew.

The same object as a test day, whose parts that only a crew has are empty, so that a device draws,
keeps and sends it by the same code. Its key is that of the site.
"""

from datetime import datetime
from typing import Any
from uuid import UUID

import calc
from calc.canonical import digest
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import NotFound
from itm.doors.day import FORM, iso
from itm.doors.day_inspecting import asked_of
from itm.records import inspection_queries as queries
from itm.records.cautions import INSPECT
from itm.registry import queries as registry
from itm.registry.access import works_at

KIND = "round"
NOTHING = (
    "notices", "tests", "restoration", "benches", "photos", "checks", "properties", "points",
    "flow_sources",
)  # fmt: skip


def rounds_of(actor: Actor) -> list[dict[str, Any]]:
    """The sites of an owner where something is to be inspected now, the most first."""
    if actor.kind != "owner" or actor.organisation_id is None:
        return []
    return [
        {
            "kind": KIND,
            "key": str(site.key),
            "site": site.name,
            "owner": site.owner.name,
            "planned_on": actor.date_at(site.time_zone).isoformat(),
            "standing": "to inspect",
            "tests": 0,
            "tasks": site.to_do,
        }
        for site in queries.sites_to_inspect(actor)
    ]


def round_at(actor: Actor, key: UUID, at: datetime) -> dict[str, Any]:
    """Raises NotFound, also where the site is not the actor's own: a crew has its visits."""
    site = registry.site(actor, key)
    if site.owner_id != actor.organisation_id:
        raise NotFound("site", key)
    on = date_at(site.time_zone, at)
    day = {
        "form": FORM,
        "kind": KIND,
        "engine_version": calc.__version__,
        "may": {"write": False, "hand_in": False},  # of what a crew enters
        "cautions": {"inspect": INSPECT},
        "units": {},
        **{name: [] for name in NOTHING},
        "visit": {
            "key": str(site.key),
            "planned_on": iso(on),
            "site": {
                "key": str(site.key), "name": site.name, "address": site.address,
                "owner": site.owner.name, "time_zone": site.time_zone,
            },
            "started_at": None,
            "restored_at": None,
            "closed": "",
        },
        "inspection": asked_of(
            actor, site, may=works_at(actor, site) and site.retired_on is None,
            noted=queries.lines_of_day(actor, site, on),
        ),
    }  # fmt: skip
    return {**day, "digest": digest(day), "made_at": iso(at)}
