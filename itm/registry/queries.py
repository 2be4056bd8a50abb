"""What a person may read of the registry. The actor comes first; a foreign row is not found."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Count, F, Model, Prefetch, Q, QuerySet

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.errors import NotFound
from itm.registry.models import (
    ConcentrateLot,
    Equipment,
    FlowPoint,
    FoamSystem,
    Grant,
    Instrument,
    Proportioner,
    Site,
    SiteAuthority,
    Tank,
    TankMovement,
)
from itm.registry.restoring import restoration_order, untouched

M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class Wanted:
    """How a reader wants a list: part of a name, the order, whether retired rows are in it, and
    what else it is narrowed to.

    `sort` names a column, a minus turns it round; a name that the list does not have is ignored.
    """

    find: str = ""
    sort: str = ""
    shown: str = "in_use"  # in_use, retired or all
    narrow: Mapping[str, str] = field(default_factory=dict)


NOTHING: Mapping[str, str] = {}


def _arranged(
    rows: QuerySet[M], wanted: Wanted, *, find_in: tuple[str, ...], sorts: Mapping[str, str],
    narrows: Mapping[str, str] = NOTHING, retirable: bool = True,
) -> QuerySet[M]:  # fmt: skip
    """Filtered and in a total order, so that pages never overlap.

    `narrows` says on which column each narrowing of the list works.
    """
    for name, value in wanted.narrow.items():
        rows = rows.filter(**{narrows[name]: value})
    if wanted.find:
        match = Q()
        for field in find_in:
            match |= Q(**{f"{field}__icontains": wanted.find})
        rows = rows.filter(match)
    if retirable and wanted.shown != "all":
        rows = rows.filter(retired_on__isnull=wanted.shown != "retired")
    name = next(iter(sorts.values()))
    column = F(sorts.get(wanted.sort.removeprefix("-"), name))
    down = wanted.sort.startswith("-") and wanted.sort[1:] in sorts
    first = column.desc(nulls_last=True) if down else column.asc(nulls_last=True)
    return rows.order_by(first, name, "pk")


def _one(rows: QuerySet[M], what: str, key: UUID) -> M:
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound(what, key)
    return row


# Sites -------------------------------------------------------------------------------------------

SITE_SORTS = {"name": "name", "owner": "owner__name", "country": "country", "systems": "in_use"}


def sites(actor: Actor, wanted: Wanted) -> QuerySet[Site]:
    """With `in_use`, the number of systems that are not retired."""
    in_use = Count("systems", filter=Q(systems__retired_on=None))
    rows = Site.objects.visible_to(actor).select_related("owner").annotate(in_use=in_use)
    return _arranged(rows, wanted, find_in=("name", "owner__name"), sorts=SITE_SORTS)


def site(actor: Actor, key: UUID) -> Site:
    return _one(Site.objects.visible_to(actor).select_related("owner"), "site", key)


def systems_of(actor: Actor, site: Site) -> list[FoamSystem]:
    """Systems with their proportioners, those with their tank and flow points; used ones first."""
    points = Prefetch("flow_points", FlowPoint.objects.filter(retired_on=None))
    devices = Proportioner.objects.select_related("tank").prefetch_related(points)
    rows = FoamSystem.objects.visible_to(actor).filter(site=site)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "name", "pk")
    return list(rows.prefetch_related(Prefetch("proportioners", devices)))


def tanks_of(actor: Actor, site: Site) -> list[Tank]:
    """Tanks with their book in force and the proportioners they feed."""
    feeds = Proportioner.objects.filter(retired_on=None)
    rows = Tank.objects.visible_to(actor).filter(site=site)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "tag", "pk")
    return list(rows.prefetch_related(_book(), Prefetch("proportioners", feeds)))


def authorities_of(actor: Actor, site: Site) -> QuerySet[SiteAuthority]:
    rows = SiteAuthority.objects.visible_to(actor).filter(site=site)
    return rows.select_related("organisation").order_by("organisation__name", "scope", "pk")


def grants_of(actor: Actor, site: Site) -> QuerySet[Grant]:
    rows = Grant.objects.visible_to(actor).filter(site=site)
    return rows.select_related("organisation").order_by("-starts_on", "pk")


def stands(grant: Grant, today: date) -> str:
    """Where an engagement stands on the site's own date; its last day is included."""
    if grant.starts_on > today:
        return "not begun"
    return "ended" if grant.ends_on is not None and grant.ends_on < today else "engaged"


def grant(actor: Actor, key: UUID) -> Grant:
    rows = Grant.objects.visible_to(actor).select_related("site__owner", "organisation")
    return _one(rows, "engagement", key)


def organisations(kind: str) -> QuerySet[Organisation]:
    """Names to choose from: which contractors and authorities there are is no secret here."""
    return Organisation.objects.filter(kind=kind)


# Systems and proportioners -----------------------------------------------------------------------

SYSTEM_SORTS = {
    "name": "name",
    "site": "site__name",
    "kind": "kind",
    "fuel": "fuel",
    "design_flow": "design_flow",
    "commissioned_on": "commissioned_on",
}
PROPORTIONER_SORTS = {
    "tag": "tag",
    "system": "system__name",
    "site": "system__site__name",
    "kind": "kind",
    "nominal_percent": "nominal_percent",
}


def systems(actor: Actor, wanted: Wanted) -> QuerySet[FoamSystem]:
    rows = FoamSystem.objects.visible_to(actor).select_related("site")
    return _arranged(rows, wanted, find_in=("name", "site__name"), sorts=SYSTEM_SORTS)


def system(actor: Actor, key: UUID) -> FoamSystem:
    rows = FoamSystem.objects.visible_to(actor).select_related("site__owner")
    return _one(rows, "foam system", key)


def proportioners_of(actor: Actor, system: FoamSystem) -> list[Proportioner]:
    points = Prefetch("flow_points", FlowPoint.objects.filter(retired_on=None))
    rows = Proportioner.objects.visible_to(actor).filter(system=system)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "tag", "pk")
    return list(rows.select_related("tank").prefetch_related(points))


def proportioners(actor: Actor, wanted: Wanted) -> QuerySet[Proportioner]:
    rows = Proportioner.objects.visible_to(actor).select_related("system__site", "tank")
    find_in = ("tag", "system__name", "system__site__name")
    return _arranged(rows, wanted, find_in=find_in, sorts=PROPORTIONER_SORTS)


def proportioner(actor: Actor, key: UUID) -> Proportioner:
    rows = Proportioner.objects.visible_to(actor).select_related("system__site__owner", "tank")
    return _one(rows, "proportioner", key)


def flow_points(proportioner: Proportioner) -> list[FlowPoint]:
    """All of them, retired ones last; who reads the proportioner reads its flow points."""
    rows = proportioner.flow_points.order_by(F("retired_on").desc(nulls_first=True), "flow", "pk")
    return list(rows)


def tanks_to_choose(site: Site, chosen: Tank | None) -> QuerySet[Tank]:
    """Tanks of the site in use, and the one that stands there now."""
    keep = Q(retired_on=None) | Q(pk=chosen.pk if chosen else None)
    return Tank.objects.filter(keep, site=site)


# Equipment ---------------------------------------------------------------------------------------


EQUIPMENT_KINDS = Equipment.Kind.choices
EQUIPMENT_SORTS = {
    "tag": "tag",
    "site": "site__name",
    "kind": "kind",
    "place": "place",
    "position": "normal_position",
    "installed_on": "installed_on",
}
EQUIPMENT_NARROWS = {"kind": "kind", "site": "site__key"}


def equipment_list(actor: Actor, wanted: Wanted) -> QuerySet[Equipment]:
    rows = Equipment.objects.visible_to(actor).select_related("site", "system", "tank")
    find_in = ("tag", "name", "place", "maker", "model", "serial_number")
    narrows = EQUIPMENT_NARROWS
    return _arranged(rows, wanted, find_in=find_in, sorts=EQUIPMENT_SORTS, narrows=narrows)


def equipment_of(actor: Actor, place: FoamSystem | Tank) -> list[Equipment]:
    """What stands there, kind by kind in the order of the walk back; what has left goes last."""
    at = {FoamSystem: "system", Tank: "tank"}[type(place)]
    rows = Equipment.objects.visible_to(actor).filter(**{at: place})
    rows = rows.order_by(F("walk_order").asc(nulls_last=True), "tag", "pk")
    kinds = Equipment.Kind.values
    return sorted(rows, key=lambda row: (row.retired_on is not None, kinds.index(row.kind)))


def equipment_counts(actor: Actor, site: Site) -> list[tuple[str, str, int]]:
    """Kind, its name and how many rows of it are in use on the site; kinds without any are left
    out."""
    rows = Equipment.objects.visible_to(actor).filter(site=site, retired_on=None)
    counted = dict(rows.order_by().values_list("kind").annotate(Count("pk")))
    return [(k, label, counted[k]) for k, label in Equipment.Kind.choices if k in counted]


def equipment(actor: Actor, key: UUID) -> Equipment:
    rows = Equipment.objects.visible_to(actor).select_related("site__owner", "system", "tank")
    return _one(rows, "equipment", key)


def valves_at(system: FoamSystem, tank: Tank | None) -> list[Equipment]:
    """Valves in use of a system and of the tank it is fed from, in the order of the walk back.

    Who reads the system reads its valves.
    """
    at = Q(system=system) | Q(tank=tank) if tank is not None else Q(system=system)
    rows = Equipment.objects.filter(at, kind=Equipment.Kind.VALVE, retired_on=None)
    return list(rows.order_by(F("walk_order").asc(nulls_last=True), "tag", "pk"))


def lines_to_put_back(proportioner: Proportioner) -> tuple[list[str], bool]:
    """What is put back after a test, and whether somebody wrote it for this proportioner.

    Otherwise it follows the valves of the register, so that a new valve is in the next test's list.
    """
    own = proportioner.restoration_order
    if own and not untouched(own):
        return own, True
    tank = proportioner.tank
    valves = valves_at(proportioner.system, tank)
    return restoration_order(tank.kind, proportioner.kind, valves), False


def places_to_choose(site: Site) -> list[tuple[str, str, list[Any]]]:
    """Systems and tanks of the site that are in use: column, name of the group, rows."""
    systems = FoamSystem.objects.filter(site=site, retired_on=None)
    tanks = Tank.objects.filter(site=site, retired_on=None)
    return [("system", "Foam systems", list(systems)), ("tank", "Tanks", list(tanks))]


# Concentrate -------------------------------------------------------------------------------------

TANK_SORTS = {
    "tag": "tag",
    "site": "site__name",
    "kind": "kind",
    "usable_volume": "usable_volume",
}
LOT_SORTS = {
    "product": "product",
    "batch": "batch",
    "kind": "kind",
    "nominal_percent": "nominal_percent",
    "pfas": "pfas",
    "expires_on": "expires_on",
}


def tanks(actor: Actor, wanted: Wanted) -> QuerySet[Tank]:
    """With their book in force."""
    rows = Tank.objects.visible_to(actor).select_related("site").prefetch_related(_book())
    return _arranged(rows, wanted, find_in=("tag", "site__name"), sorts=TANK_SORTS)


def tank(actor: Actor, key: UUID) -> Tank:
    return _one(Tank.objects.visible_to(actor).select_related("site__owner"), "tank", key)


def _book() -> Prefetch:
    return Prefetch("movements", TankMovement.objects.in_force().select_related("lot"))


def movements_of(actor: Actor, tank: Tank) -> list[TankMovement]:
    """All of them, those that were withdrawn too; a ledger leaves these out by itself."""
    rows = TankMovement.objects.visible_to(actor).filter(tank=tank).select_related("lot")
    return list(rows.order_by("moved_on", "position", "pk"))


def movement(actor: Actor, key: UUID) -> TankMovement:
    rows = TankMovement.objects.visible_to(actor)
    return _one(rows.select_related("tank__site__owner", "lot"), "movement of a tank", key)


def fed_by(actor: Actor, tank: Tank) -> QuerySet[Proportioner]:
    rows = Proportioner.objects.visible_to(actor).filter(tank=tank, retired_on=None)
    return rows.select_related("system")


def lots(actor: Actor, wanted: Wanted) -> QuerySet[ConcentrateLot]:
    rows = ConcentrateLot.objects.visible_to(actor).select_related("owner")
    find_in = ("product", "batch")
    return _arranged(rows, wanted, find_in=find_in, sorts=LOT_SORTS, retirable=False)


def lot(actor: Actor, key: UUID) -> ConcentrateLot:
    return _one(ConcentrateLot.objects.visible_to(actor).select_related("owner"), "lot", key)


def lots_to_choose(actor: Actor) -> QuerySet[ConcentrateLot]:
    """The organisation's own lots: what a tank is filled from."""
    return ConcentrateLot.objects.visible_to(actor).filter(owner=actor.organisation_id)


def tanks_with(actor: Actor, lot: ConcentrateLot) -> list[Tank]:
    """Every tank that holds or held any of the lot, retired ones too, with its book in force."""
    went_in = TankMovement.objects.filter(lot=lot, withdrawn_at=None).values("tank")
    rows = Tank.objects.visible_to(actor).filter(pk__in=went_in).select_related("site")
    return list(rows.order_by("site__name", "tag", "pk").prefetch_related(_book()))


# Instruments -------------------------------------------------------------------------------------

INSTRUMENT_SORTS = {
    "name": "name",
    "serial_number": "serial_number",
    "method": "method",
    "resolution": "resolution",
    "certificate_due_on": "certificate_due_on",
}


def instruments(actor: Actor, wanted: Wanted) -> QuerySet[Instrument]:
    rows = Instrument.objects.visible_to(actor)
    return _arranged(rows, wanted, find_in=("name", "serial_number"), sorts=INSTRUMENT_SORTS)


def instrument(actor: Actor, key: UUID) -> Instrument:
    return _one(Instrument.objects.visible_to(actor), "instrument", key)


# Whose row it is ----------------------------------------------------------------------------------


def site_of(row: Any) -> Site | None:
    """The site a row hangs on; None for lots and instruments, which hang on an organisation."""
    if isinstance(row, Site):
        return row
    if isinstance(row, ConcentrateLot | Instrument):
        return None
    for step in getattr(row, "site_path", "site").split("__"):
        row = getattr(row, step)
    return row


def may_change(actor: Actor, row: Any) -> bool:
    """Owners change what hangs on their own sites, contractors their own instruments."""
    if isinstance(row, Instrument):
        return actor.kind == "contractor" and row.organisation_id == actor.organisation_id
    held = row if isinstance(row, ConcentrateLot) else site_of(row)
    return actor.kind == "owner" and held is not None and held.owner_id == actor.organisation_id
