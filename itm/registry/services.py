"""Writes of the registry. Owners keep what hangs on their sites, contractors their instruments.

Every function refuses with a sentence: Forbidden to whom it is not theirs, Refused with the place
of the first thing wrong, Conflict when somebody else saved the same thing a moment before.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction

from itm.accounts.actor import Actor, require_kind, require_lead
from itm.accounts.models import Organisation
from itm.core.clock import FIRST_TO_BEGIN
from itm.core.errors import Conflict, Forbidden, NotFound, Refused
from itm.core.figures import day
from itm.core.history import Tracked
from itm.core.quantities import Quantity
from itm.core.valid import require_valid
from itm.registry import criteria, queries
from itm.registry.book import lines_of, refuse_new_problems
from itm.registry.models import (
    ConcentrateLot,
    Equipment,
    FlowPoint,
    FoamSystem,
    Grant,
    Instrument,
    Proportioner,
    Site,
    Tank,
)

OF_TANK = ("installed_on", "earlier_check_on")
T = TypeVar("T", bound=Tracked)


def columns(values: dict[str, Any], row: Tracked) -> dict[str, Any]:
    """Values as the columns hold them: a quantity goes to its SI column and to what was typed."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        out[name] = value.si if isinstance(value, Quantity) else value
        if hasattr(row, f"{name}_typed"):
            out[f"{name}_typed"] = value.typed if isinstance(value, Quantity) else ""
    return out


def keep(row: T, values: dict[str, Any], *, by: Actor, verb: str = "") -> T:
    """Set the values, ask the row's own rules and the database's, save with its history."""
    for name, value in columns(values, row).items():
        setattr(row, name, value)
    require_valid(row)
    try:
        with transaction.atomic():
            row.save(by=by, verb=verb)
    except IntegrityError as error:
        raise Conflict(
            "Somebody saved the same thing a moment before you. Look at the list, then try again."
        ) from error
    return row


def require_come(
    values: dict[str, Any], today: date, *names: str, row: Any = None
) -> None:  # fmt: skip
    """What older papers show, or what stands at the site, is of no day to come: one slip in such a
    year would hide a duty until then. What stands in the `row` from before this rule keeps nobody
    from putting something else right. Raises Refused day_ahead."""
    for name in names:
        on = values.get(name)
        if on is not None and on > today and not _stands(row, name, on):
            raise Refused(
                "day_ahead",
                f"{day(on)} has not come yet: duties are counted from this day, so it is one that "
                "was.",
                name,
            )


def _stands(row: Any, name: str, value: Any) -> bool:
    """In the database: a form may have put its values into the row already."""
    return row is not None and type(row)._base_manager.filter(pk=row.pk, **{name: value}).exists()


def require_own(actor: Actor, row: Any, what: str) -> None:
    require_kind(actor, "contractor" if isinstance(row, Instrument) else "owner", what=what)
    if not queries.may_change(actor, row):
        raise Forbidden(f"Only the organisation that it belongs to can {what}.")


def require_keeper(actor: Actor, row: Any, what: str) -> None:
    """Refuse what holds beyond the day (who works at a site, what is out of use, what becomes of
    its records) to whoever is no supervisor or manager of the owner."""
    require_own(actor, row, what)
    require_lead(actor, what=what)


# Sites -------------------------------------------------------------------------------------------


def add_site(*, actor: Actor, **values: Any) -> Site:
    site = Site(owner=actor.organisation)
    require_own(actor, site, "add a site")
    return keep(site, values, by=actor)


def change_site(*, actor: Actor, site: Site, **values: Any) -> Site:
    require_own(actor, site, "change a site")
    return keep(site, values, by=actor)


def engage(
    *, actor: Actor, site: Site, organisation: Organisation, starts_on: date,
    ends_on: date | None = None,
) -> Grant:  # fmt: skip
    """A contractor may work at the site from the first to the last day, both included.

    Refused wrong_kind, already_engaged.
    """
    require_keeper(actor, site, "engage a contractor")
    if organisation.kind != Organisation.Kind.CONTRACTOR:
        raise Refused("wrong_kind", f"{organisation} is not a contractor.", "organisation")
    for other in Grant.objects.filter(site=site, organisation=organisation):
        begins_before_end = ends_on is None or other.starts_on <= ends_on
        if begins_before_end and (other.ends_on is None or other.ends_on >= starts_on):
            until = f"until {day(other.ends_on)}" if other.ends_on else "without a last day"
            raise Refused(
                "already_engaged",
                f"{organisation} is already engaged here from {day(other.starts_on)} {until}.",
                "starts_on",
            )
    grant = Grant(site=site, organisation=organisation)
    return keep(grant, {"starts_on": starts_on, "ends_on": ends_on}, by=actor)


def end_engagement(*, actor: Actor, grant: Grant, ends_on: date | None) -> Grant:
    """Set the last day; none takes an end back. What the contractor handed in stays."""
    require_keeper(actor, grant, "change or end an engagement")
    return keep(grant, {"ends_on": ends_on}, by=actor)


# Systems and proportioners -----------------------------------------------------------------------


def add_system(*, actor: Actor, site: Site, **values: Any) -> FoamSystem:
    require_own(actor, site, "add a foam system")
    require_in_use(site, "site")
    require_come(values, actor.date_at(site.time_zone), "commissioned_on")
    return keep(FoamSystem(site=site), values, by=actor)


def change_system(*, actor: Actor, system: FoamSystem, **values: Any) -> FoamSystem:
    """Refused nominal_not_named where a proportioner in use has a percent it says nothing about."""
    require_own(actor, system, "change a foam system")
    require_come(values, actor.date_at(system.site.time_zone), "commissioned_on", row=system)
    for device in system.proportioners.filter(retired_on=None):
        criteria.require_named(values.get("criterion", system.criterion), device.nominal_percent)
    return keep(system, values, by=actor)


@dataclass(frozen=True)
class PointRow:
    """A flow point as a form or file gives it; `key` is None for a new one."""

    name: str
    flow: Quantity
    key: UUID | None = None
    retired_on: date | None = None


@transaction.atomic
def add_proportioner(
    *, actor: Actor, system: FoamSystem, flow_points: Sequence[PointRow], **values: Any
) -> Proportioner:
    """The device without its duties: `actions.add_proportioner` is what doors call."""
    require_own(actor, system, "add a proportioner")
    require_in_use(system, "system")
    row = Proportioner(system=system)
    _require_tank_of_site(values["tank"], system)
    require_come(values, actor.date_at(system.site.time_zone), "earlier_test_on")
    keep(row, values, by=actor)
    criteria.require_named(system.criterion, row.nominal_percent, "nominal_percent")
    _keep_flow_points(actor, row, flow_points)
    return row


@transaction.atomic
def change_proportioner(
    *, actor: Actor, proportioner: Proportioner, flow_points: Sequence[PointRow], **values: Any
) -> Proportioner:
    """Puts right what is said of it; it comes to another tank by a move, which is kept.

    Refused moves, and what the rules about flow points refuse.
    """
    require_own(actor, proportioner, "change a proportioner")
    system = proportioner.system
    if values.get("tank", proportioner.tank) != proportioner.tank:
        raise Refused("moves", "A proportioner comes to another tank by a move.", "tank")
    today = actor.date_at(system.site.time_zone)
    require_come(values, today, "earlier_test_on", row=proportioner)
    keep(proportioner, values, by=actor)
    criteria.require_named(system.criterion, proportioner.nominal_percent, "nominal_percent")
    _keep_flow_points(actor, proportioner, flow_points)
    return proportioner


def _require_tank_of_site(tank: Tank, system: FoamSystem) -> None:
    if tank.site_id != system.site_id:
        raise Refused("other_site", "This tank stands at another site.", "tank")


def check_flow_points(rows: Sequence[PointRow]) -> None:
    """Refused flow_point_missing, flow_point_twice, flow_points_out_of_order."""
    flows: dict[str, float] = {}
    for row in rows:
        name = row.name.casefold()
        if row.retired_on is None and name in flows:
            raise Refused(
                "flow_point_twice", f"Two flow points are called “{row.name}”.", "flow_points"
            )
        if row.retired_on is None:
            flows[name] = row.flow.si
    if missing := [name for name in ("minimum", "design") if name not in flows]:
        raise Refused(
            "flow_point_missing",
            "A proportioner is tested at least at “minimum” and “design”; "
            f"add the flow point “{missing[0]}”.",
            "flow_points",
        )
    if not 0 < flows["minimum"] <= flows["design"]:
        raise Refused(
            "flow_points_out_of_order",
            "The flow at “minimum” is above 0 and at most the flow at “design”.",
            "flow_points",
        )


def _keep_flow_points(actor: Actor, owner: Proportioner, rows: Sequence[PointRow]) -> None:
    """Those that leave go first, so that a name may move from one point to another."""
    check_flow_points(rows)
    known = {point.key: point for point in FlowPoint.objects.filter(proportioner=owner)}
    for row in sorted(rows, key=lambda row: row.retired_on is None):
        if row.key is not None and row.key not in known:
            raise NotFound("flow point", row.key)
        point = known[row.key] if row.key else FlowPoint(proportioner=owner)
        values = {"name": row.name, "flow": row.flow, "retired_on": row.retired_on}
        keep(point, values, by=actor)


# Concentrate -------------------------------------------------------------------------------------


def add_tank(*, actor: Actor, site: Site, **values: Any) -> Tank:
    """The tank without its duties: `actions.add_tank` is what doors call."""
    require_own(actor, site, "add a tank")
    require_in_use(site, "site")
    require_come(values, actor.date_at(site.time_zone), *OF_TANK)
    return keep(Tank(site=site), values, by=actor)


@transaction.atomic
def change_tank(*, actor: Actor, tank: Tank, **values: Any) -> Tank:
    """Refused over_capacity, already_in_use where its own book would contradict it."""
    require_own(actor, tank, "change a tank")
    require_come(values, actor.date_at(tank.site.time_zone), *OF_TANK, row=tank)
    before = lines_of(tank)
    wanted = copy(tank)
    for name, value in columns(values, tank).items():
        setattr(wanted, name, value)
    # Asked before it is saved, where the database would refuse it without a sentence.
    refuse_new_problems(before, lines_of(wanted), "capacity")
    row = keep(tank, values, by=actor)
    first = before[0].movement.moved_on if before else None
    if first and row.installed_on and first < row.installed_on:
        raise Refused(
            "already_in_use",
            f"Something went into it on {day(first)} already; it was installed by then.",
            "installed_on",
        )
    return row


def add_lot(*, actor: Actor, **values: Any) -> ConcentrateLot:
    lot = ConcentrateLot(owner=actor.organisation)
    require_own(actor, lot, "add a lot")
    require_come(values, actor.date_at(FIRST_TO_BEGIN), "made_on")
    return keep(lot, values, by=actor)


def change_lot(*, actor: Actor, lot: ConcentrateLot, **values: Any) -> ConcentrateLot:
    require_own(actor, lot, "change a lot")
    require_come(values, actor.date_at(FIRST_TO_BEGIN), "made_on", row=lot)
    return keep(lot, values, by=actor)


# Instruments -------------------------------------------------------------------------------------


def add_instrument(*, actor: Actor, **values: Any) -> Instrument:
    row = Instrument(organisation=actor.organisation)
    require_own(actor, row, "add an instrument")
    return keep(row, values, by=actor)


def change_instrument(*, actor: Actor, instrument: Instrument, **values: Any) -> Instrument:
    """Refused other_kind: benches and flows on record rest on what it was."""
    require_own(actor, instrument, "change an instrument")
    flow = Instrument.Method.FLOW
    if (values.get("method", instrument.method) == flow) != (instrument.method == flow):
        raise Refused(
            "other_kind",
            "What reads a flow never reads a bottle, and records rest on what it was: retire it "
            "and add the other instrument.",
            "method",
        )
    return keep(instrument, values, by=actor)


# What is retired ---------------------------------------------------------------------------------

Retirable = Site | FoamSystem | Proportioner | Tank | Equipment | Instrument


def require_in_use(row: Retirable, what: str) -> None:
    if row.retired_on is not None:
        raise Refused(
            "retired",
            f"The {what} {row} is retired since {day(row.retired_on)}; take that back first.",
        )
