"""Organisations, people and equipment of the invented world."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib.auth.hashers import make_password

from itm.accounts.actor import Actor, acting, system
from itm.accounts.models import Membership, Organisation, User
from itm.actions.add_proportioner import add_proportioner
from itm.actions.add_tank import add_tank
from itm.actions.oversee import name_authority
from itm.core.clock import date_at
from itm.demo import stores
from itm.demo.equipment import equip
from itm.demo.scenario import Ages, flow, volume
from itm.registry import certificates, changing_over, drawing, pfas_dates, services
from itm.registry.contents import contents
from itm.registry.models import ConcentrateLot, Instrument, Proportioner, Site, Tank
from itm.registry.restoring import FLUSH_ORDER
from itm.registry.services import PointRow

MOVEMENT_WORDS = ("reason", "cleaned", "allowed_by", "allowed_because")
LONG_AGO = 3300  # days; before everything in the scenario


@dataclass
class World:
    """What was made, by the names the scenario uses."""

    ages: Ages
    organisations: dict[str, Organisation] = field(default_factory=dict)
    members: dict[str, list[Membership]] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)
    tanks: dict[tuple[str, str], Tank] = field(default_factory=dict)
    lots: dict[str, ConcentrateLot] = field(default_factory=dict)
    proportioners: dict[tuple[str, str], Proportioner] = field(default_factory=dict)
    water: dict[str, dict[str, Any]] = field(default_factory=dict)
    conductivity: dict[int, float] = field(default_factory=dict)

    def actor(self, organisation: str, today: date, *, role: str = "manager") -> Actor:
        people = self.members[organisation]
        chosen = next((m for m in people if m.role == role), people[0])
        return acting(chosen, today, via="command", proved=True)


def build(told: dict[str, Any], ages: Ages) -> World:
    world = World(ages)
    password = make_password(told["password"])  # once: it is slow on purpose
    for kind in ("authority", "contractor", "owner"):
        plural = {"authority": "authorities"}.get(kind, f"{kind}s")
        for one in told[plural]:
            _organisation(world, kind, one, password)
    for contractor in told["contractors"]:
        for one in contractor["instruments"]:
            _instrument(world, contractor["name"], one)
    for owner in told["owners"]:
        # Who writes the register knows of the years; from its first day they would be to come.
        actor = world.actor(owner["name"], ages.day(0))
        for one in owner["lots"]:
            _lot(world, actor, one)
        for site in owner["sites"]:
            _site(world, actor, site, told["equipment"])
    return world


def _organisation(world: World, kind: str, told: dict[str, Any], password: str) -> None:
    by = system(world.ages.day(LONG_AGO))
    asked = ("verdict_probability", "lean_probability")
    more = {name: told[name] for name in asked if name in told}
    row = Organisation.objects.create(by=by, name=told["name"], kind=kind, **more)
    world.organisations[row.name] = row
    world.members[row.name] = []
    for person in told["people"]:
        user = User(
            email=person["email"],
            name=person["name"],
            qualification=person.get("qualification", ""),
            licence_number=person.get("licence_number", ""),
            password=password,
        )
        user.save(by=by)
        member = Membership.objects.create(by=by, user=user, organisation=row, role=person["role"])
        world.members[row.name].append(member)


def _instrument(world: World, contractor: str, told: dict[str, Any]) -> None:
    repeatability = told["repeatability"]
    row = services.add_instrument(
        actor=world.actor(contractor, world.ages.day(LONG_AGO)),
        name=told["name"],
        serial_number=told["serial_number"],
        method=told["method"],
        unit=told["unit"],
        resolution=Decimal(told["resolution"]),
        repeatability=None if repeatability is None else Decimal(repeatability),
        temperature_compensated=told["temperature_compensated"],
    )
    for one in told["certificates"]:
        issued = one.get("issued_days_ago")
        made = certificates.add_certificate(
            actor=world.actor(contractor, world.ages.day(LONG_AGO)),
            instrument=row,
            today=world.ages.day(0),
            number=one["number"],
            laboratory=one["laboratory"],
            issued_on=None if issued is None else world.ages.day(issued),
            due_on=world.ages.day(-one["due_in_days"]),
        )
        if "scan" in one:
            by = world.actor(contractor, world.ages.day(LONG_AGO))
            stores.paper(by, made, one["scan"], world.ages)
    world.instruments[row.serial_number] = row


def _lot(world: World, actor: Actor, told: dict[str, Any]) -> None:
    row = services.add_lot(
        actor=actor,
        **{name: told[name] for name in ("product", "kind", "batch", "pfas")},
        **{
            name: Decimal(told[name])
            for name in ("nominal_percent", "refractive_index", "density", "ph")
        },
    )
    world.lots[row.batch] = row
    world.conductivity[row.pk] = told["conductivity_per_percent"]
    if "paper" in told:
        stores.paper(actor, row, told["paper"], world.ages)


def _site(world: World, actor: Actor, told: dict[str, Any], equipment: dict[str, Any]) -> None:
    site = services.add_site(
        actor=actor, **{name: told[name] for name in ("name", "address", "country", "time_zone")}
    )
    pfas_dates.set_places(actor=actor, site=site, chosen=told.get("pfas_places", []))
    world.sites[site.name], world.water[site.name] = site, told["water"]
    for one in told["authorities"]:
        name_authority(
            actor=actor, site=site, organisation=world.organisations[one["name"]],
            scope=one["scope"], today=world.ages.day(LONG_AGO, site.time_zone),
        )  # fmt: skip
    for one in told["contractors"]:
        until = one.get("until_days_ago")
        services.engage(
            actor=actor,
            site=site,
            organisation=world.organisations[one["name"]],
            starts_on=world.ages.day(one.get("from_days_ago", LONG_AGO)),
            ends_on=None if until is None else world.ages.day(until),
        )
    stores.stock(actor, site, world.lots, told.get("in_store", []), world.ages)
    for one in told["tanks"]:
        _tank(world, actor, site, one)
    for one in told["systems"]:
        _system(world, actor, site, one)
    for one in told["tanks"]:
        if "changeover" in one:
            _changeover(world, actor, world.tanks[site.name, one["tag"]], one["changeover"])
    stores.take_away(actor, site, told.get("taken_away", []), world.ages)
    if site.name in equipment:
        equip(actor, site, equipment[site.name], world.ages)


def _tank(world: World, actor: Actor, site: Site, told: dict[str, Any]) -> None:
    tank = add_tank(
        actor=actor,
        site=site,
        tag=told["tag"],
        kind=told["kind"],
        capacity=volume(told["capacity"]),
        usable_volume=volume(told["usable_volume"]),
        earlier_check_on=world.ages.day(told["earlier_check_days_ago"], site.time_zone),
    )
    world.tanks[site.name, tank.tag] = tank
    for one in told["movements"]:
        lot = world.lots[one["lot"]] if "lot" in one else None
        drawing.move(
            actor=actor,
            tank=tank,
            today=date_at(site.time_zone, world.ages.now),
            kind=one["kind"],
            lot=lot,
            store=stores.supply(site, lot) if lot and "from_store" in one else None,
            as_waste="as_waste" in one,
            moved_on=world.ages.working_day(one["days_ago"], site.time_zone),
            volume=volume(one["volume"]) if "volume" in one else None,
            **{name: one.get(name, "") for name in MOVEMENT_WORDS},
            residue_mg_l=Decimal(one["residue_mg_l"]) if "residue_mg_l" in one else None,
        )


def _changeover(world: World, actor: Actor, tank: Tank, told: dict[str, Any]) -> None:
    zone = tank.site.time_zone
    new = changing_over.New(
        changed_on=world.ages.working_day(told["days_ago"], zone),
        lot=world.lots[told["lot"]],
        volume=volume(told["volume"]),
        cleaned=told["cleaned"],
        rinses=told["rinses"],
        rinse_volume=volume(told["rinse_volume"]),
        papers=told["papers"],
        residue_mg_l=Decimal(told["residue_mg_l"]),
    )
    today = date_at(zone, world.ages.now)
    changing_over.change_over(actor=actor, tank=tank, new=new, today=today)


def _system(world: World, actor: Actor, site: Site, told: dict[str, Any]) -> None:
    row = services.add_system(
        actor=actor,
        site=site,
        **{name: told[name] for name in ("name", "kind", "hazard", "fuel", "required_minutes")},
        minimum_flow=flow(told["minimum_flow"]),
        design_flow=flow(told["design_flow"]),
        commissioned_on=world.ages.day(told["commissioned_days_ago"], site.time_zone),
        criterion=told.get("criterion", "common"),
    )
    for device in told["proportioners"]:
        tank = world.tanks[site.name, device["tank"]]
        lowest, highest = device["listed_flows"]
        world.proportioners[site.name, device["tag"]] = add_proportioner(
            actor=actor,
            system=row,
            tank=tank,
            tag=device["tag"],
            kind=device["kind"],
            nominal_percent=Decimal(device["nominal_percent"]),
            lowest_listed_flow=flow(lowest),
            highest_listed_flow=flow(highest),
            flush_order=list(FLUSH_ORDER),
            restoration_order=[],  # as the valves of equipment.json stand
            flow_points=[PointRow(n, flow(text)) for n, text in device["flow_points"].items()],
        )


def contractor_at(world: World, site: Site, day: date) -> str:
    """Who was engaged there on that day."""
    grant = site.grants.covering(day).select_related("organisation").get()
    return str(grant.organisation.name)


def fill_in_use(tank: Tank, day: date) -> ConcentrateLot:
    """The lot that most of the tank is."""
    held = contents(tank, tank.movements.select_related("lot"), day)
    if not held.parts:
        raise LookupError(f"Tank {tank} is empty on {day}.")
    return held.parts[0].lot
