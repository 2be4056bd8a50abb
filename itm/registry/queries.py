"""What a person may read of the registry. The actor comes first; a foreign row is not found."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery

from itm.accounts.actor import Actor
from itm.accounts.models import Organisation
from itm.core.clock import FIRST_TO_BEGIN, date_at
from itm.registry.finding import Wanted, arranged, one
from itm.registry.models import (
    Certificate,
    ChangeOver,
    ConcentrateLot,
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

# Sites -------------------------------------------------------------------------------------------

SITE_SORTS = {"name": "name", "owner": "owner__name", "country": "country", "systems": "in_use"}


def sites(actor: Actor, wanted: Wanted) -> QuerySet[Site]:
    """With `in_use`, the number of systems that are not retired."""
    in_use = Count("systems", filter=Q(systems__retired_on=None))
    rows = Site.objects.visible_to(actor).select_related("owner").annotate(in_use=in_use)
    return arranged(rows, wanted, find_in=("name", "owner__name"), sorts=SITE_SORTS)


def own_sites(actor: Actor) -> QuerySet[Site]:
    """The owner's in use, to choose from."""
    rows = Site.objects.visible_to(actor).filter(owner=actor.organisation_id, retired_on=None)
    return rows.order_by("name", "pk")


def today(actor: Actor, now: datetime) -> date:
    """The latest day that has begun at any site that the person sees, and without one anywhere."""
    zones = Site.objects.visible_to(actor).order_by().values_list("time_zone", flat=True)
    return max(
        (date_at(zone, now) for zone in zones.distinct()), default=date_at(FIRST_TO_BEGIN, now)
    )


def site(actor: Actor, key: UUID) -> Site:
    return one(Site.objects.visible_to(actor).select_related("owner"), "site", key)


def systems_of(actor: Actor, site: Site) -> list[FoamSystem]:
    """Systems with their proportioners, those with their tank and flow points; used ones first."""
    points = Prefetch("flow_points", FlowPoint.objects.filter(retired_on=None))
    devices = Proportioner.objects.select_related("tank").prefetch_related(points)
    rows = FoamSystem.objects.visible_to(actor).filter(site=site)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "name", "pk")
    return list(rows.prefetch_related(Prefetch("proportioners", devices)))


def rinsed_at(actor: Actor, site: Site) -> list[TankMovement]:
    """Drains of the site's tanks whose rinse water is noted, the newest first."""
    rows = TankMovement.objects.visible_to(actor).filter(tank__site=site, withdrawn_at=None)
    rows = rows.filter(rinse_volume__isnull=False).select_related("tank")
    return list(rows.order_by("-moved_on", "-position", "-pk"))


def tanks_of(actor: Actor, site: Site) -> list[Tank]:
    """Tanks with their book in force and the proportioners they feed."""
    feeds = Proportioner.objects.filter(retired_on=None)
    rows = Tank.objects.visible_to(actor).filter(site=site)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "tag", "pk")
    return list(rows.prefetch_related(_book(), Prefetch("proportioners", feeds)))


def authorities_of(actor: Actor, site: Site) -> QuerySet[SiteAuthority]:
    """Those that were, too; a naming that was taken back never was."""
    rows = SiteAuthority.objects.visible_to(actor).filter(site=site, taken_back_on=None)
    return rows.select_related("organisation").order_by("organisation__name", "scope", "pk")


def site_authority(actor: Actor, key: UUID) -> SiteAuthority:
    rows = SiteAuthority.objects.visible_to(actor).select_related("site__owner", "organisation")
    return one(rows, "authority of a site", key)


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
    return one(rows, "engagement", key)


def organisations(kind: str) -> QuerySet[Organisation]:
    """Names to choose from: which contractors and authorities there are is no secret here."""
    return Organisation.objects.filter(kind=kind)


# Systems and proportioners -----------------------------------------------------------------------

SYSTEM_KINDS, FUELS = FoamSystem.Kind.choices, FoamSystem.Fuel.choices
PROPORTIONER_KINDS, TANK_KINDS = Proportioner.Kind.choices, Tank.Kind.choices
LOT_KINDS, PFAS = ConcentrateLot.Kind.choices, ConcentrateLot.Pfas.choices
METHODS = Instrument.Method.choices
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
    narrows = {"kind": "kind", "fuel": "fuel", "site": "site__key"}
    return arranged(
        rows, wanted, find_in=("name", "site__name"), sorts=SYSTEM_SORTS, narrows=narrows
    )


def system(actor: Actor, key: UUID) -> FoamSystem:
    rows = FoamSystem.objects.visible_to(actor).select_related("site__owner")
    return one(rows, "foam system", key)


def proportioners_of(actor: Actor, system: FoamSystem) -> list[Proportioner]:
    points = Prefetch("flow_points", FlowPoint.objects.filter(retired_on=None))
    rows = Proportioner.objects.visible_to(actor).filter(system=system)
    rows = rows.order_by(F("retired_on").desc(nulls_first=True), "tag", "pk")
    return list(rows.select_related("tank", "system").prefetch_related(points))


def proportioners(actor: Actor, wanted: Wanted) -> QuerySet[Proportioner]:
    rows = Proportioner.objects.visible_to(actor).select_related("system__site", "tank")
    find_in = ("tag", "system__name", "system__site__name")
    narrows = {"kind": "kind", "site": "system__site__key"}
    return arranged(rows, wanted, find_in=find_in, sorts=PROPORTIONER_SORTS, narrows=narrows)


def proportioner(actor: Actor, key: UUID) -> Proportioner:
    rows = Proportioner.objects.visible_to(actor).select_related("system__site__owner", "tank")
    return one(rows, "proportioner", key)


def flow_points(proportioner: Proportioner) -> list[FlowPoint]:
    """All of them, retired ones last; who reads the proportioner reads its flow points."""
    rows = proportioner.flow_points.order_by(F("retired_on").desc(nulls_first=True), "flow", "pk")
    return list(rows)


def systems_to_choose(site: Site) -> QuerySet[FoamSystem]:
    return FoamSystem.objects.filter(site=site, retired_on=None)


def tanks_to_choose(site: Site) -> QuerySet[Tank]:
    return Tank.objects.filter(site=site, retired_on=None)


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
    narrows = {"kind": "kind", "site": "site__key"}
    return arranged(rows, wanted, find_in=("tag", "site__name"), sorts=TANK_SORTS, narrows=narrows)


def tank(actor: Actor, key: UUID) -> Tank:
    return one(Tank.objects.visible_to(actor).select_related("site__owner"), "tank", key)


def tank_with_book(actor: Actor, key: UUID) -> Tank:
    rows = Tank.objects.visible_to(actor).select_related("site").prefetch_related(_book())
    return one(rows, "tank", key)


def _book() -> Prefetch:
    return Prefetch("movements", TankMovement.objects.in_force().select_related("lot"))


def movements_of(actor: Actor, tank: Tank) -> list[TankMovement]:
    """All of them, those that were withdrawn too; a ledger leaves these out by itself. With
    `of_changeover`: those are withdrawn by the changeover."""
    over = ChangeOver.objects.filter(
        Q(drain=OuterRef("pk")) | Q(fill=OuterRef("pk")), withdrawn_because=""
    )
    rows = TankMovement.objects.visible_to(actor).filter(tank=tank).select_related("lot")
    rows = rows.annotate(of_changeover=Exists(over))
    return list(rows.order_by("moved_on", "position", "pk"))


def movement(actor: Actor, key: UUID) -> TankMovement:
    rows = TankMovement.objects.visible_to(actor)
    return one(rows.select_related("tank__site__owner", "lot"), "movement of a tank", key)


def fed_by(actor: Actor, tank: Tank) -> QuerySet[Proportioner]:
    rows = Proportioner.objects.visible_to(actor).filter(tank=tank, retired_on=None)
    return rows.select_related("system")


def lots(actor: Actor, wanted: Wanted) -> QuerySet[ConcentrateLot]:
    rows = ConcentrateLot.objects.visible_to(actor).select_related("owner")
    find_in = ("product", "batch")
    narrows = {"kind": "kind", "pfas": "pfas"}
    return arranged(
        rows, wanted, find_in=find_in, sorts=LOT_SORTS, narrows=narrows, retirable=False
    )


def lot(actor: Actor, key: UUID) -> ConcentrateLot:
    return one(ConcentrateLot.objects.visible_to(actor).select_related("owner"), "lot", key)


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
    "due_on": "due_on",
}


def instruments(actor: Actor, wanted: Wanted, today: date) -> QuerySet[Instrument]:
    """With `due_on`, when the calibration that is in force today runs out."""
    there = _newest_certificates(today).filter(instrument=OuterRef("pk"))
    rows = Instrument.objects.visible_to(actor).annotate(
        due_on=Subquery(there.values("due_on")[:1])
    )
    narrows = {"method": "method"}
    find_in = ("name", "serial_number")
    return arranged(rows, wanted, find_in=find_in, sorts=INSTRUMENT_SORTS, narrows=narrows)


def _newest_certificates(today: date) -> QuerySet[Certificate]:
    """The order in which `certificates.in_force` takes the first."""
    rows = Certificate.objects.filter(withdrawn_because="")
    rows = rows.filter(Q(issued_on=None) | Q(issued_on__lte=today))
    return rows.order_by(F("issued_on").desc(nulls_last=True), "-pk")


def certificates_in_force(actor: Actor, today: date) -> QuerySet[Certificate]:
    """One for each instrument that has any, as `certificates.in_force` finds it."""
    there = _newest_certificates(today).filter(instrument=OuterRef("instrument"))
    return Certificate.objects.visible_to(actor).filter(pk=Subquery(there.values("pk")[:1]))


def instruments_without_certificate(actor: Actor, today: date) -> QuerySet[Instrument]:
    """In use, and none is in force: never calibrated, or each paper withdrawn."""
    there = _newest_certificates(today).order_by().filter(instrument=OuterRef("pk"))
    return Instrument.objects.visible_to(actor).filter(~Exists(there), retired_on=None)


def certificates_of(actor: Actor, instrument: Instrument) -> list[Certificate]:
    """The newest first, those withdrawn by mistake too."""
    return list(Certificate.objects.visible_to(actor).filter(instrument=instrument))


def certificate(actor: Actor, key: UUID) -> Certificate:
    rows = Certificate.objects.visible_to(actor).select_related("instrument")
    return one(rows, "certificate", key)


def instrument(actor: Actor, key: UUID) -> Instrument:
    return one(Instrument.objects.visible_to(actor), "instrument", key)


# Whose row it is ----------------------------------------------------------------------------------


def site_of(row: Any) -> Site | None:
    """The site a row hangs on; None for lots and instruments, which hang on an organisation."""
    if isinstance(row, Site):
        return row
    if isinstance(row, ConcentrateLot | Instrument | Certificate):
        return None
    for step in getattr(row, "site_path", "site").split("__"):
        row = getattr(row, step)
    return row


def may_change(actor: Actor, row: Any) -> bool:
    """Owners change what hangs on their own sites, contractors their own instruments."""
    if isinstance(row, Certificate):
        row = row.instrument
    if isinstance(row, Instrument):
        return actor.kind == "contractor" and row.organisation_id == actor.organisation_id
    held = row if isinstance(row, ConcentrateLot) else site_of(row)
    return actor.kind == "owner" and held is not None and held.owner_id == actor.organisation_id
