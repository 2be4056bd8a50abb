"""Writes of equipment: valves, strainers, pumps and whatever else a programme looks at."""

from datetime import date
from typing import Any

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.registry.models import Equipment, Site
from itm.registry.services import keep, require_in_use, require_own


def add_equipment(*, actor: Actor, site: Site, today: date, **values: Any) -> Equipment:
    """`today` on the clock of the site. Refused day_ahead, other_site, retired."""
    require_own(actor, site, "add equipment")
    require_in_use(site, "site")
    _require_place(site, values)
    return _keep(Equipment(site=site), values, by=actor, today=today)


def change_equipment(
    *, actor: Actor, equipment: Equipment, today: date, **values: Any
) -> Equipment:
    """Puts right what is said of it. Refused day_ahead, other_site, retired."""
    require_own(actor, equipment, "change equipment")
    if any(values.get(at, getattr(equipment, at)) != getattr(equipment, at) for at in PLACES):
        _require_place(equipment.site, values)
    return _keep(equipment, values, by=actor, today=today)


PLACES = ("system", "tank")


def _require_place(site: Site, values: dict[str, Any]) -> None:
    """Where it stands belongs to the same site and is in use; no constraint can see that."""
    for name in PLACES:
        place = values.get(name)
        if place is None:
            continue
        if place.site_id != site.pk:
            raise Refused("other_site", f"This {name} stands at another site.", name)
        require_in_use(place, name)


def _keep(row: Equipment, values: dict[str, Any], *, by: Actor, today: date) -> Equipment:
    installed = values.get("installed_on")
    if installed is not None and installed > today:
        raise Refused("day_ahead", "This day has not come yet.", "installed_on")
    return keep(row, values, by=by)
