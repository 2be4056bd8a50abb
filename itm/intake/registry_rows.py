"""A table of the register: every row goes through the form and the service of its page."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from calc.units import FLOW
from itm.accounts.actor import Actor
from itm.core.errors import Forbidden
from itm.core.history import Tracked
from itm.core.quantities import apart, quantity
from itm.intake.models import Upload
from itm.intake.tables.cell_values import Amount
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.cells import place as there
from itm.intake.tables.known import Known, fold
from itm.intake.tables.reading import Batch, Told
from itm.registry import equipping, services
from itm.registry.forms import InstrumentForm, LotForm, SiteForm, TankForm
from itm.registry.forms.equipment import ALONE, EquipmentForm
from itm.registry.forms.systems import ProportionerForm, SystemForm
from itm.registry.models import Equipment, FoamSystem, Proportioner, Site, Tank
from itm.registry.models.equipment import VARIETIES
from itm.registry.oddities import odd
from itm.registry.services import PointRow

MOST = 2_000  # things of one file: each is asked and saved as its page would; own choice
Kind = Upload.Kind
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Way:
    """How one kind is brought in: what it hangs on, its form, its service."""

    form: Callable[..., Any]
    add: Callable[..., Any]
    on: tuple[str, ...] = ()  # columns that name what it hangs on
    at_a_place: bool = False  # stands at a system, at a tank, or at the site alone
    columns: Mapping[str, str] = field(default_factory=dict)  # field of the form → our column


def _add_proportioner(*, actor: Actor, system: FoamSystem, **values: Any) -> Proportioner:
    """With the two flow points that every proportioner has, at the flows of its system."""
    points = [
        PointRow(name, quantity(*apart(typed, FLOW), FLOW))
        for name, typed in (
            ("minimum", system.minimum_flow_typed), ("design", system.design_flow_typed)
        )
    ]  # fmt: skip
    return services.add_proportioner(actor=actor, system=system, flow_points=points, **values)


def _add_equipment(*, actor: Actor, site: Site, **values: Any) -> Equipment:
    today = actor.date_at(site.time_zone)
    return equipping.add_equipment(actor=actor, site=site, today=today, **values)


WAYS: dict[str, Way] = {
    Kind.SITES: Way(SiteForm, services.add_site),
    Kind.SYSTEMS: Way(SystemForm, services.add_system, ("site",)),
    Kind.TANKS: Way(TankForm, services.add_tank, ("site",)),
    Kind.PROPORTIONERS: Way(ProportionerForm, _add_proportioner, ("site", "system", "tank")),
    Kind.EQUIPMENT: Way(
        EquipmentForm,
        _add_equipment,
        ("site",),
        at_a_place=True,
        columns={"what": "kind", "stands_at": "system"},
    ),
    Kind.LOTS: Way(LotForm, services.add_lot),
    Kind.INSTRUMENTS: Way(InstrumentForm, services.add_instrument),
}
TICKED = ("temperature_compensated", "certificate_needed")  # boxes of their forms
DEFAULTS = {"criterion": "common", "pfas": "unknown", "pieces": "1"}


class RegistryRows:
    """Adds batches of rows inside the caller's transaction, which rolls back where any is told."""

    def __init__(
        self, actor: Actor, kind: str, *, means: Mapping[str, Mapping[str, str]],
        columns: Mapping[str, int],
    ) -> None:  # fmt: skip
        self._actor, self._way, self._columns = actor, WAYS[kind], columns
        self._owner = actor.organisation
        sites: QuerySet[Site] = Site.objects.filter(owner=actor.organisation_id, retired_on=None)
        self._sites = {fold(site.name): site for site in sites}
        self.known = {}
        if "site" in self._way.on:
            names = [site.name for site in self._sites.values()]
            self.known["site"] = Known("site", names, means=means.get("site"))
        self.sites: set[int] = set()
        self.made: list[Tracked] = []
        self.asked: list[dict[str, str]] = []
        self._count = 0

    def judged(self, batch: Batch, told: Told) -> list[Tracked]:
        """Codes: too_many_things, no_system, no_tank, two_places, variety, and what form and
        service refuse."""
        self._count += len(batch.rows)
        if self._count > MOST:
            sentence = f"This table has more than {MOST:,} rows of the register."
            told.add(CellProblem(batch.rows[0], None, "too_many_things", sentence, "Divide it."))
            return []
        made = []
        for index, number in enumerate(batch.rows):
            row = batch.row(index)
            if any(row[name] is None for name in batch.names if self._asked(name)):
                continue  # told where it was read
            if (one := self._bring(number, row, told)) is not None:
                made.append(one)
        self.made += made
        return made

    def _asked(self, name: str) -> bool:
        return name in self._columns and name in ("site", "system", "tank", "tag", "name", "batch")

    def _bring(self, number: int, row: Row, told: Told) -> Tracked | None:
        on = self._on(number, row, told)
        if on is None:
            return None
        tank = on.pop("tank", None)
        if len(on) > 1:
            on.pop("site")  # the system stands there
        data = as_typed(row) | ({"tank": str(tank.pk)} if tank else {})
        if self._way.at_a_place:
            place = self._place(number, row, on["site"], told)
            if not self._variety_fits(number, row, told) or place is None:
                return None
            what = ":".join(filter(None, (row["kind"], row["variety"])))
            data |= {"stands_at": place, "what": what}
        form = self._way.form(data, **(on or self._own()))
        if form.is_valid():
            made: Tracked | None = None
            with form.refusals(), transaction.atomic():
                made = self._way.add(actor=self._actor, **on, **form.values)
            if made is not None and not form.errors:
                self._touch(made, on)
                self.asked += [
                    {"place": there(number, self._columns.get(name)), "sentence": sentence}
                    for name, sentence in odd(made)
                ]
                return made
        for name, sentences in form.errors.items():
            at = self._columns.get(self._way.columns.get(name, name))
            label = form.fields[name].label if name in form.fields else ""
            for one in sentences:
                sentence = (
                    f"{label or name.replace('_', ' ').capitalize()}: {one}" if label else one
                )
                told.add(CellProblem(number, at, "not_valid", str(sentence)))
        return None

    def _place(self, number: int, row: Row, site: Site, told: Told) -> str | None:
        """Where it stands, as the form of the page names it; None where that is told as wrong."""
        if row["system"] and row["tank"]:
            sentence = "It stands at a system or at a tank, not at both."
            fix = "Empty one of the two cells."
            told.add(CellProblem(number, self._columns.get("tank"), "two_places", sentence, fix))
            return None
        for name, model, column in (("system", FoamSystem, "name"), ("tank", Tank, "tag")):
            if row[name]:
                thing = self._one(model, column, number, row, site, name, told)
                return f"{name}:{thing.key}" if thing is not None else None
        return ALONE

    def _variety_fits(self, number: int, row: Row, told: Told) -> bool:
        """The page offers kind and variety as one choice; here they stand in two cells."""
        known, given = VARIETIES.get(row["kind"], {}), row["variety"]
        if given in known or not (known or given):
            return True
        what = row["kind"].replace("_", " ")
        if known:
            said, fix = f"It is not said which kind of {what} this is.", "Write one of "
            fix += f"{', '.join(known)} as its variety."
        else:
            said, fix = f"No varieties are told apart of {what}.", "Empty the cell."
        at = self._columns.get("variety", self._columns.get("kind"))
        told.add(CellProblem(number, at, "variety", said, fix))
        return False

    def _own(self) -> dict[str, Any]:
        """What has no site hangs on the organisation, so that its names are asked about at once."""
        owner = "organisation" if self._way.form is InstrumentForm else "owner"
        return {owner: self._owner}

    def _touch(self, made: Tracked, on: Mapping[str, Any]) -> None:
        site = on.get("site") or getattr(on.get("system"), "site", None)
        if site is not None:
            self.sites.add(site.pk)

    def _on(self, number: int, row: Row, told: Told) -> dict[str, Any] | None:
        out: dict[str, Any] = {}
        if "site" in self._way.on:
            out["site"] = self._sites[fold(row["site"])]
        if "system" in self._way.on:
            out["system"] = self._one(FoamSystem, "name", number, row, out["site"], "system", told)
            out["tank"] = self._one(Tank, "tag", number, row, out["site"], "tank", told)
            if out["system"] is None or out["tank"] is None:
                return None
        return out

    def _one(
        self, model: Any, field: str, number: int, row: Row, site: Site, name: str, told: Told
    ) -> Any:
        found = model.objects.filter(site=site, retired_on=None, **{f"{field}__iexact": row[name]})
        thing = found.select_related("site").first()
        if thing is None:
            what = {"system": "foam system", "tank": "tank"}[name]
            sentence = f"{site} has no {what} {row[name]}."
            fix = "Correct the name, or add it first."
            told.add(CellProblem(number, self._columns.get(name), f"no_{name}", sentence, fix))
        return thing

    def finish(self, told: Told) -> None:
        """Twins within the file are refused by the constraints of the register."""


def as_typed(row: Row) -> dict[str, str]:
    """As the form of the page would get it."""
    out: dict[str, str] = {}
    for name, value in row.items():
        if isinstance(value, Amount):
            out[name], out[f"{name}_unit"] = f"{value.number:f}", value.unit
        elif isinstance(value, Decimal):
            out[name] = f"{value:f}"
        elif isinstance(value, date):
            out[name] = value.isoformat()
        elif value in ("", None) and name in DEFAULTS:
            out[name] = DEFAULTS[name]
        elif name in TICKED:
            out |= {name: "on"} if value == "yes" else {}
        elif value is not None:
            out[name] = str(value)
    return out


def require_may_bring(actor: Actor, kind: str) -> None:
    """Owners keep what hangs on their sites, contractors their instruments."""
    if actor.kind != ("contractor" if kind == Kind.INSTRUMENTS else "owner"):
        raise Forbidden("Only the organisation that it belongs to can bring this in.")
