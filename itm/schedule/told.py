"""How a duty is told wherever it is listed: what, where, and the page where it goes on."""

from dataclasses import dataclass
from uuid import UUID

from itm.schedule.models import Duty

# What `told` reads, for select_related.
READ = (
    "site",
    "requirement",
    "proportioner__system",
    "tank",
    "system",
    "equipment__site",
    "equipment__system",
    "equipment__tank",
)


@dataclass(frozen=True)
class Told:
    what: str
    where: str
    page: str
    key: UUID


def told(duty: Duty) -> Told:
    where, page = place(duty)
    what = str(duty.requirement)
    if duty.cause == Duty.Cause.RETEST:
        what += ", again"
    return Told(what, where, page, duty.thing.key)


def place(duty: Duty) -> tuple[str, str]:
    """Where it is to be done, and the name of that thing's page."""
    if duty.proportioner is not None:
        return f"{duty.proportioner.system.name}, {duty.proportioner}", "proportioner"
    if duty.tank is not None:
        return f"tank {duty.tank}", "tank"
    if duty.equipment is not None:
        return f"{duty.equipment.stands_at}, {duty.equipment}", "equipment"
    return ("whole site", "site") if duty.system is None else (str(duty.system), "system")
