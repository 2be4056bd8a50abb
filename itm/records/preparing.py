"""Prepare: a bench, and a test on it with everything frozen before the first reading."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from calc.direct_form import DRAWN
from itm.accounts.actor import Actor
from itm.core.clock import date_at
from itm.core.errors import Refused
from itm.records import merge
from itm.records.drafts import (
    locked_draft,
    locked_visit,
    new_key,
    require_begin,
    sent_later,
)
from itm.records.foam_baseline import frozen_foam
from itm.records.models import (
    Bench,
    DirectRun,
    DirectSetup,
    FlowRun,
    FlushStep,
    Move,
    ProportioningTest,
    RestorationLine,
    Visit,
)
from itm.records.prepare_refusals import (
    refuse_acceptance_without_foam,
    refuse_other_limits,
    refuse_second_correction,
    refuse_unfit_device,
)
from itm.records.prepared_keys import (
    bench_key,
    line_keys,
    run_key,
    step_keys,
    test_key,
    with_bench,
    with_meter,
)
from itm.records.queries import lots_for
from itm.records.remarks import other_nominals
from itm.records.rule import frozen_rule, own_bands, require_baselines
from itm.registry import criteria, queries_equipment
from itm.registry.book import lines_of
from itm.registry.contents import as_of
from itm.registry.models import ConcentrateLot, FlowPoint, Instrument, Proportioner, Tank
from itm.registry.restoring import FLUSH_ORDER
from itm.schedule.deriving import samples_wanted

State, Phase = ProportioningTest.State, ProportioningTest.Phase
Method = ProportioningTest.Method


@dataclass(frozen=True)
class NewBench:
    """A bench to be opened together with its first test."""

    instrument: Instrument
    lot: ConcentrateLot | None = None
    water_source: str = ""
    glassware: str = ""
    batch_volume_ml: Decimal | int = 200
    key: uuid.UUID | None = None


@transaction.atomic
def open_bench(
    *, actor: Actor, visit: Visit, tank: Tank, instrument: Instrument,
    lot: ConcentrateLot | None = None, water_source: str = "", glassware: str = "",
    batch_volume_ml: Decimal | int = 200, notes: str = "", key: uuid.UUID | None = None,
) -> Bench:  # fmt: skip
    """One instrument, water and concentrate for the tests of the visit that share them.

    Raises Forbidden; Refused tank_elsewhere, instrument_not_yours, instrument_retired,
    no_bottles, lot_not_there, batch_volume, key_used.
    """
    visit = locked_visit(actor, visit)
    if tank.site_id != visit.site_id:
        raise Refused("tank_elsewhere", f"Tank {tank} stands on another site.", "tank")
    if instrument.organisation_id != actor.organisation_id:
        raise Refused("instrument_not_yours", "Take an instrument of your own list.", "instrument")
    if instrument.retired_on is not None:
        raise Refused("instrument_retired", f"{instrument} is retired.", "instrument")
    if not instrument.reads_bottles:
        raise Refused("no_bottles", f"{instrument} reads a flow and no bottle.", "instrument")
    if lot is not None and not lots_for(tank).filter(pk=lot.pk).exists():
        raise Refused(
            "lot_not_there",
            f"{lot} never went into tank {tank} and stands in no store of the site: standards are "
            "made from what is in the tank. Note the fill first, or take a lot that is there.",
            "lot",
        )
    if not batch_volume_ml > 0:
        raise Refused("batch_volume", "The batch volume is above 0 mL.", "batch_volume_ml")
    return Bench.objects.create(
        by=actor, key=new_key(Bench, key), visit=visit, tank=tank, instrument=instrument, lot=lot,
        water_source=water_source.strip(), glassware=glassware.strip(),
        batch_volume_ml=batch_volume_ml, notes=notes.strip(),
    )  # fmt: skip


@dataclass(frozen=True)
class Direct:
    """A direct method in place of a bench; the liquid where it is not the concentrate."""

    method: str
    liquid: str = ""
    liquid_name: str = ""


@transaction.atomic
def prepare_test(
    *, actor: Actor, visit: Visit, proportioner: Proportioner, bench: Bench | NewBench | Direct,
    purpose: str, at: datetime, phase: str = Phase.AS_FOUND,
    flow_points: Sequence[FlowPoint] | None = None, adjusted: str = "", notes: str = "",
    include_water: bool = True, correct_temperatures: bool = False,
    other_percent_because: str = "", key: uuid.UUID | None = None,
    stamped: datetime | None = None,
) -> ProportioningTest:  # fmt: skip
    """A draft with its runs, stop-and-flush steps and restoration list.

    A `NewBench` is opened with it, or not at all; a `Direct` method stands in its place. Method,
    nominal, band and decision rule are frozen here: defaults that change later change no verdict.
    Without `flow_points` all of the proportioner are run. Raises Forbidden; Refused as `open_bench`
    does, and not_on_site, retired, other_tank, bench_sealed, back_in_service, no_flow_points,
    foreign_flow_point, one_test_a_phase, as_found_first, adjusted_missing, nominal_not_named,
    corrected_twice, nothing_to_correct, other_percent, baseline_missing, baseline_too_far,
    key_used, and of a direct method liquid_missing, acceptance_needs_foam, foam_baseline_missing.

    `other_percent_because`: why it goes on although concentrate and proportioner are labelled with
    different percents. It stays with the record, under the name of who prepared it. With `stamped`
    it may have been begun by a device while engaged, and come in late.
    """
    visit = locked_visit(actor, visit)
    require_begin(actor, visit, stamped)
    refuse_unfit_device(visit, proportioner)
    _refuse_unfit_phase(visit, proportioner, phase, adjusted, _method(bench))
    key = key or _key_of(visit, proportioner, phase, bench)
    if isinstance(bench, NewBench):
        opened = {**vars(bench), "key": bench.key or bench_key(key)}
        bench = open_bench(actor=actor, visit=visit, tank=proportioner.tank, **opened)
    if isinstance(bench, Direct):
        _refuse_unfit_method(bench, purpose)
    else:
        _refuse_unfit_bench(visit, proportioner, bench)
    if correct_temperatures:
        refuse_second_correction(None if isinstance(bench, Direct) else bench)
    points = _points_to_run(proportioner, flow_points)
    today = date_at(visit.site.time_zone, at)
    rule = frozen_rule(proportioner, today, purpose=purpose, points=points)
    require_baselines(rule.missing)
    tested_on = today if visit.started_at else visit.planned_on
    because = other_percent_because.strip()
    if not because:
        _refuse_other_percent(proportioner, bench, tested_on)
    test = ProportioningTest.objects.create(
        by=actor, key=new_key(ProportioningTest, key), site=visit.site, visit=visit,
        proportioner=proportioner, **_measured_by(bench, proportioner),
        purpose=purpose, phase=phase, adjusted=adjusted.strip(), notes=notes.strip(),
        tested_on=tested_on,
        nominal_percent=proportioner.nominal_percent, include_water=include_water,
        correct_temperatures=correct_temperatures,
        samples_wanted=samples_wanted(proportioner, today), **rule.columns(),
    )  # fmt: skip
    foam = _foam(bench, proportioner, points)
    if isinstance(bench, Direct):
        sits = DirectSetup.MeterIn.SOLUTION if bench.method in DRAWN else ""
        DirectSetup.objects.create(
            by=actor, test=test, meter_in=sits, liquid=bench.liquid,
            liquid_name=bench.liquid_name.strip(),
        )  # fmt: skip
    for point in points:
        own = rule.own_columns(point.name)
        run = FlowRun.objects.create(
            by=actor, key=run_key(test.key, point), test=test, flow_point=point, **own
        )
        if isinstance(bench, Direct):
            DirectRun.objects.create(by=actor, run=run, **foam.get(point.name, {}))
    steps = proportioner.flush_order or FLUSH_ORDER
    for position, (own_key, text) in enumerate(
        zip(step_keys(test.key, steps), steps, strict=True), start=1
    ):
        FlushStep.objects.create(by=actor, key=own_key, test=test, position=position, text=text)
    _lay_restoration(actor, visit, proportioner)
    Move.objects.create(
        by=actor, test=test, verb="prepare", at=at, person=actor.person,
        organisation=actor.organisation_name,
        reason=" ".join(filter(None, (because, sent_later(actor, visit.site)))),
    )  # fmt: skip
    return test


@transaction.atomic
def change_test(
    *, actor: Actor, test: ProportioningTest, opened: dict[str, str] | None = None, **entered: Any
) -> ProportioningTest:
    """Change purpose, adjusted, correct_temperatures or notes of a draft; what is frozen has no
    way in.

    Raises Forbidden; Refused not_draft, adjusted_missing, corrected_twice, nothing_to_correct,
    purpose_frozen, acceptance_needs_foam; Conflict.
    """
    row = locked_draft(actor, test)
    refuse_other_limits(row, entered.get("purpose", row.purpose))
    refuse_acceptance_without_foam(row.method, entered.get("purpose", row.purpose))
    if entered.get("correct_temperatures"):
        refuse_second_correction(row.bench)
    if row.phase == Phase.AS_LEFT and not entered.get("adjusted", row.adjusted).strip():
        raise _adjusted_missing()
    merge.put(row, entered, opened)
    row.save(by=actor)
    return row


@transaction.atomic
def add_run(*, actor: Actor, test: ProportioningTest, flow_point: FlowPoint) -> FlowRun:
    """A flow point that was left out at Prepare is run after all. May run twice.

    Raises Forbidden; Refused not_draft, foreign_flow_point, baseline_missing, baseline_too_far,
    foam_baseline_missing.
    """
    row = locked_draft(actor, test)
    points = _points_to_run(row.proportioner, [flow_point])
    there = row.runs.filter(flow_point=flow_point).first()
    if there is not None:
        return there
    own: dict[str, Any] = {}
    if criteria.needs_baseline(row.criterion):
        own_band, missing = own_bands(row.proportioner, row.criterion, points)
        require_baselines(missing)
        own = own_band[0].columns()
    run = FlowRun.objects.create(
        by=actor, key=run_key(row.key, flow_point), test=row, flow_point=flow_point, **own
    )
    if row.is_direct:
        method = Direct(row.method, row.direct.liquid, row.direct.liquid_name)
        foam = _foam(method, row.proportioner, points)
        DirectRun.objects.create(by=actor, run=run, **foam.get(flow_point.name, {}))
    return run


def _method(bench: Bench | NewBench | Direct) -> str:
    return bench.method if isinstance(bench, Direct) else Method.BENCH


def _key_of(
    visit: Visit, proportioner: Proportioner, phase: str, bench: Bench | NewBench | Direct
) -> uuid.UUID:
    if isinstance(bench, Direct):
        read_with = f"liquid {bench.liquid} {bench.liquid_name.strip()}"
    elif isinstance(bench, NewBench):
        read_with = with_meter(bench.instrument.key, bench.lot.key if bench.lot else None)
    else:
        read_with = with_bench(bench.key)
    return test_key(visit, proportioner, phase=phase, method=_method(bench), read_with=read_with)


def _measured_by(bench: Bench | Direct, proportioner: Proportioner) -> dict[str, Any]:
    if isinstance(bench, Direct):
        return {"method": bench.method, "tank": proportioner.tank}
    return {"bench": bench}


def _foam(
    bench: Bench | Direct, proportioner: Proportioner, points: Sequence[FlowPoint]
) -> dict[str, dict[str, Any]]:
    """The tests with foam that another liquid is compared with, by flow point."""
    if not isinstance(bench, Direct) or bench.method != Method.OTHER_LIQUID:
        return {}
    return frozen_foam(proportioner, points, bench.liquid, bench.liquid_name.strip())


def _refuse_unfit_method(bench: Direct, purpose: str) -> None:
    if bench.method not in set(Method.values) - {Method.BENCH}:
        raise Refused("unknown_method", "Choose one of the direct methods.", "method")
    refuse_acceptance_without_foam(bench.method, purpose)
    if bench.method != Method.OTHER_LIQUID:
        return
    if bench.liquid not in DirectSetup.Liquid.values:
        raise Refused("liquid_missing", "Say which liquid runs in place of concentrate.", "liquid")
    if bench.liquid == DirectSetup.Liquid.SURROGATE and not bench.liquid_name.strip():
        raise Refused(
            "liquid_missing",
            "Name the surrogate liquid: another one flows otherwise and needs its own baseline.",
            "liquid_name",
        )


def _refuse_unfit_bench(visit: Visit, proportioner: Proportioner, bench: Bench) -> None:
    if bench.visit_id != visit.pk or bench.tank_id != proportioner.tank_id:
        raise Refused(
            "other_tank",
            f"That bench has concentrate of another tank; {proportioner} draws from "
            f"{proportioner.tank}. Open a bench for it.",
            "bench",
        )
    if bench.sealed_at is not None:
        raise Refused("bench_sealed", "That bench is sealed with its record; open one.", "bench")


def _refuse_other_percent(proportioner: Proportioner, bench: Bench | Direct, on: date) -> None:
    """Such a test is judged by limits that its concentrate was never made for."""
    held = as_of(lines_of(proportioner.tank), on)
    lot = None if isinstance(bench, Direct) else bench.lot
    if wrong := other_nominals(proportioner.nominal_percent, held, lot):
        raise Refused(
            "other_percent",
            f"{' '.join(wrong)} To go on all the same, say why they may differ.",
            "other_percent_because",
        )


def _refuse_unfit_phase(
    visit: Visit, proportioner: Proportioner, phase: str, adjusted: str, method: str
) -> None:
    same = visit.tests.filter(proportioner=proportioner)
    if same.filter(phase=phase, method=method, amends=None).exclude(state=State.ABANDONED).exists():
        raise Refused(
            "one_test_a_phase",
            f"This visit already has the test “{Phase(phase).label}” of {proportioner} by this "
            "method: as found and as left are one result each.",
            "phase",
        )
    if phase != Phase.AS_LEFT:
        return
    if not same.filter(phase=Phase.AS_FOUND).exists():
        raise Refused(
            "as_found_first",
            "As left is what was measured after an adjustment. Test as found first, or the drift "
            "that was adjusted away is on no record.",
            "phase",
        )
    if not adjusted.strip():
        raise _adjusted_missing()


def _adjusted_missing() -> Refused:
    return Refused(
        "adjusted_missing", "As left: say which parts were adjusted or renewed.", "adjusted"
    )


def _points_to_run(
    proportioner: Proportioner, chosen: Sequence[FlowPoint] | None
) -> list[FlowPoint]:
    known = list(proportioner.flow_points.filter(retired_on=None).order_by("flow", "pk"))
    wanted = known if chosen is None else list(chosen)
    if not wanted:
        raise Refused("no_flow_points", "Run at least one flow point.", "flow_points")
    if any(point not in known for point in wanted):
        raise Refused(
            "foreign_flow_point", f"That is no flow point of {proportioner}.", "flow_points"
        )
    return wanted


def _lay_restoration(actor: Actor, visit: Visit, proportioner: Proportioner) -> None:
    """Once a visit and proportioner: two tests of one device are put back together."""
    if visit.restoration_lines.filter(proportioner=proportioner).exists():
        return
    texts, _ = queries_equipment.lines_to_put_back(proportioner)
    keys = line_keys(visit.key, proportioner.key, texts)
    for position, (key, text) in enumerate(zip(keys, texts, strict=True), start=1):
        RestorationLine.objects.create(
            by=actor, key=key, visit=visit, proportioner=proportioner, position=position, text=text
        )
