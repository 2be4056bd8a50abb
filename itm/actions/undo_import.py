"""A whole import is taken back, as long as nothing was sealed or built on it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import ProtectedError

from itm.accounts.actor import Actor
from itm.core import history
from itm.core.errors import Refused
from itm.intake import poured, registry_rows, taking, uploads
from itm.intake.models import Upload
from itm.records import many_values, past, sampling
from itm.records.drafts import on_bench
from itm.records.duties import derive_sites
from itm.records.many_readings import set_all_aside
from itm.records.models import (
    ConcentrateSample,
    InspectionLine,
    LaboratoryReport,
    ProportioningTest,
)
from itm.registry import retiring
from itm.registry.models import (
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Site,
    Tank,
)
from itm.registry.queries import site_of
from itm.schedule.standing import restand_site

Kind = Upload.Kind
MODELS: dict[str, Any] = {
    Kind.SITES: Site,
    Kind.SYSTEMS: FoamSystem,
    Kind.TANKS: Tank,
    Kind.PROPORTIONERS: Proportioner,
    Kind.EQUIPMENT: Equipment,
    Kind.LOTS: ConcentrateLot,
    Kind.INSTRUMENTS: Instrument,
}


@transaction.atomic
def undo_import(*, actor: Actor, key: UUID, because: str, at: datetime) -> Upload:
    """Readings and values are set aside, results and reports withdrawn, things of the register
    retired, each with the reason; a lot or instrument that nothing names is removed. May run twice.

    Raises NotFound, Forbidden; Refused not_taken_in, reason_missing, not_draft, built_on.
    """
    row = uploads.locked(actor, key)
    if row.state == Upload.State.UNDONE:
        return row
    if row.state != Upload.State.DONE:
        raise Refused("not_taken_in", "This file was not taken in, so nothing is to be undone.")
    if not because.strip():
        raise Refused("reason_missing", "Say why this import is taken back.", "because")
    why = f"import of {row.name} taken back: {because.strip()}"
    if row.bundle is not None:
        sites = past.withdraw_bundle(actor=actor, bundle=row.bundle, because=because, at=at)
        derive_sites(actor=actor, sites=sites, why=why)
    elif row.test is not None:
        bench = on_bench(row.test)
        set_all_aside(actor=actor, bench=bench, keys=row.made, reason=why, at=at)
        with history.because(why):
            poured.take_back(actor=actor, bench=bench, filled=row.filled)
    elif row.kind == Kind.VALUES:
        _take_values_back(actor, row, why, at)
    else:
        registry_rows.require_may_bring(actor, row.kind)
        _take_out(actor, row, why)
    return taking.undone(actor=actor, row=row, because=because, at=at)


def _take_values_back(actor: Actor, row: Upload, why: str, at: datetime) -> None:
    many_values.set_all_aside(actor=actor, keys=row.made, reason=why, at=at)
    with history.because(why):
        papers = LaboratoryReport.objects.filter(key__in=row.made, withdrawn_reason="")
        for paper in papers.select_related("concentrate_check"):
            sampling.withdraw_report(actor=actor, report=paper, reason=why[:200])
        for sample in ConcentrateSample.objects.filter(key__in=row.filled):
            sampling.take_out(actor=actor, sample=sample, filled=row.filled[str(sample.key)])


def _take_out(actor: Actor, row: Upload, why: str) -> None:
    model = MODELS[row.kind]
    rows = model.objects.filter(key__in=row.made)
    if row.kind in (Kind.LOTS, Kind.INSTRUMENTS):
        _remove(actor, model, rows, why)
        return
    touched: dict[int, Site] = {}
    for thing in rows.filter(retired_on=None).order_by("-pk"):
        _require_unused(thing)
        site: Any = site_of(thing)
        today = actor.date_at(site.time_zone)
        retiring.retire(actor=actor, row=thing, on=today, today=today)
        touched[site.pk] = site
    derive_sites(actor=actor, sites=touched.values(), why=why)
    for site in touched.values():
        restand_site(actor=actor, site=site)


def _require_unused(thing: Any) -> None:
    tests = ProportioningTest.objects.exclude(state=ProportioningTest.State.ABANDONED)
    lines = InspectionLine.objects.all()
    used = {
        Site: lambda: thing.visits.exists() or thing.inspections.exists(),
        FoamSystem: lambda: lines.filter(system=thing).exists(),
        Tank: lambda: thing.movements.exists() or lines.filter(tank=thing).exists(),
        Equipment: lambda: lines.filter(equipment=thing).exists(),
        Proportioner: lambda: (
            tests.filter(proportioner=thing).exists() or lines.filter(proportioner=thing).exists()
        ),
    }[type(thing)]
    if used():
        raise Refused(
            "built_on",
            f"{thing} has records, movements or inspections by now, so this import stays. Retire "
            "by hand what is out of use.",
        )


def _remove(actor: Actor, model: Any, rows: Any, why: str) -> None:
    try:
        with transaction.atomic(), history.bulk(actor, "removed", model, text=why):
            rows.delete()
    except ProtectedError as error:
        named = next(iter(error.protected_objects), "something")
        raise Refused(
            "built_on", f"Something names one of them by now ({named}), so this import stays."
        ) from error
