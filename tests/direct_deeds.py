"""A day of a direct test through the real services. Every figure is invented."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from calc.units import FLOW, MASS, VOLUME
from itm.actions.hand_in import hand_in
from itm.actions.start_test_day import start_test_day
from itm.core.durations import duration
from itm.core.measures import LENGTH
from itm.core.quantities import Quantity, quantity
from itm.records import discharge, measuring, preparing, restoration, services
from itm.records.direct_forms import DENSITY
from itm.records.models import DirectRun, ProportioningTest
from itm.records.preparing import Direct
from tests.deeds import Day, signed
from tests.factories import InstrumentFactory

FLOWS = {"minimum": 600, "design": 1900}  # L/min, as the factories have them
METER = {"method": "flow", "unit": "L/min", "resolution": Decimal("0.1")}


def flow(litres_a_minute: float) -> Quantity:
    return quantity(f"{litres_a_minute:.10g}", "L/min", FLOW)


def volume(litres: float) -> Quantity:
    return quantity(f"{litres:.10g}", "L", VOLUME)


def metres(number: float) -> Quantity:
    return quantity(f"{number:.10g}", "m", LENGTH)


def weight(number: float, unit: str = "kg") -> Quantity:
    return quantity(f"{number:.10g}", unit, MASS)


def heavy(number: float, unit: str = "kg/m³") -> Quantity:
    return quantity(f"{number:.10g}", unit, DENSITY)


def share(percent: float) -> Quantity:
    return quantity(f"{percent:.10g}", "%", {"%": 1.0})


def direct_day(scene: Any, method: str, *, on: date = date(2026, 6, 15), **options: Any) -> Day:
    """A visit with one direct test, the test day started."""
    liquid = {name: options.pop(name) for name in ("liquid", "liquid_name") if name in options}
    now = datetime.combine(on, time(8, 0), UTC)
    visit = services.plan_visit(actor=scene.contractor, site=scene.site, planned_on=on)
    test = preparing.prepare_test(
        actor=scene.contractor, visit=visit, proportioner=scene.proportioner, at=now,
        bench=Direct(method, **liquid), **{"purpose": "periodic", **options},
    )  # fmt: skip
    start_test_day(
        actor=scene.contractor, key=visit.key, reason="annual proportioning test",
        coordinator="the owner's duty engineer", at=now + timedelta(minutes=5),
    )  # fmt: skip
    test.refresh_from_db()
    return Day(scene.contractor, test, now + timedelta(minutes=10))


def metered(scene: Any, day: Day, **changed: Any) -> Day:
    """Two meters of the crew, good to 1 and 2 % of their reading, the second in the solution."""
    organisation = scene.contractor.organisation
    given = {
        "concentrate_meter": InstrumentFactory(organisation=organisation, name="Meter", **METER),
        "concentrate_accuracy": share(1),
        "meter_in": "solution",
        "second_meter": InstrumentFactory(organisation=organisation, name="Large", **METER),
        "second_accuracy": share(2),
    }
    measuring.note_setup(actor=day.actor, test=day.test, **{**given, **changed})
    return day


def vessel(day: Day, **changed: Any) -> Day:
    """A standing tank of 1.2 m, read to a millimetre; the solution flow by a fitted meter."""
    given = {
        "shape": "standing_cylinder", "heads": "flat", "diameter": metres(1.2),
        "length": metres(2), "level_step": metres(0.001), "second_fitted": "FT-7",
        "second_accuracy": share(2),
    }  # fmt: skip
    measuring.note_setup(actor=day.actor, test=day.test, **{**given, **changed})
    return day


def ran(day: Day) -> Day:
    """Flow of solution noted at the discharge."""
    for run in day.test.runs.select_related("flow_point"):
        discharge.note_run(
            actor=day.actor, run=run, solution_flow=flow(FLOWS[run.flow_point.name]),
            flow_source="meter",
        )  # fmt: skip
    return day


def two_flows(day: Day, percents: dict[str, float]) -> Day:
    for run in day.test.runs.select_related("flow_point"):
        name = run.flow_point.name
        measuring.note_measured(
            actor=day.actor, run=run, concentrate_source="meter", concentrate_read="rate",
            concentrate_flow=flow(FLOWS[name] * percents[name] / 100),
        )  # fmt: skip
    return day


def sank(day: Day, percents: dict[str, float], over: str = "4:00") -> Day:
    """The levels of a standing tank of 1.2 m before and after, so that the percent comes out."""
    surface = 0.36 * 3.141592653589793
    for run in day.test.runs.select_related("flow_point"):
        name = run.flow_point.name
        drawn = percents[name] / 100 * flow(FLOWS[name]).si * duration(over).si
        measuring.note_measured(
            actor=day.actor, run=run, duration=duration(over), level_before=metres(1.5),
            level_after=metres(1.5 - drawn / surface),
        )  # fmt: skip
    return day


def scale(day: Day, **changed: Any) -> Day:
    """A tote on a scale of 0.5 kg steps, good to 0.5 kg; the solution flow by a fitted meter."""
    given = {
        "scale": "WT-3, certificate Q-9", "scale_step": weight(0.5), "scale_error": weight(0.5),
        "density": heavy(1.04, "g/mL"), "density_error": heavy(3),
        "density_from": "certificate", "second_fitted": "FT-7", "second_accuracy": share(2),
    }  # fmt: skip
    measuring.note_setup(actor=day.actor, test=day.test, **{**given, **changed})
    return day


def lightened(day: Day, percents: dict[str, float], over: str = "4:00") -> Day:
    """The weights before and after, of 1040 kg/m³, so that the percent comes out."""
    for run in day.test.runs.select_related("flow_point"):
        name = run.flow_point.name
        drawn = percents[name] / 100 * flow(FLOWS[name]).si * duration(over).si * 1040
        measuring.note_measured(
            actor=day.actor, run=run, duration=duration(over), mass_before=weight(900),
            mass_after=weight(900 - drawn),
        )  # fmt: skip
    return day


def in_its_place(day: Day, percents: dict[str, float]) -> Day:
    """Water in place of concentrate, that read a fifth more beside the foam of 3.2 %."""
    for run in day.test.runs.select_related("flow_point"):
        name = run.flow_point.name
        measuring.note_measured(
            actor=day.actor, run=run, concentrate_source="meter", concentrate_read="rate",
            concentrate_flow=flow(FLOWS[name] * 1.2 * percents[name] / 100),
            beside_on=date(2025, 6, 10), beside_source="acceptance report, page 3",
            beside_liquid_flow=flow(FLOWS[name] * 1.2 * 3.2 / 100),
            beside_second_flow=flow(FLOWS[name]),
        )  # fmt: skip
    return day


def put_back(day: Day) -> Day:
    for step in day.test.flush_steps.all():
        discharge.flush_done(actor=day.actor, step=step, at=day.tick())
    for line in day.test.visit.restoration_lines.filter(outcome=""):
        restoration.end_line(actor=day.actor, line=line, outcome="restored", at=day.tick())
    return day


def measured_test(
    scene: Any, method: str, percents: dict[str, float] | None = None, *, until: str = "sealed",
    **options: Any,
) -> ProportioningTest:  # fmt: skip
    """A direct test of the scene's proportioner up to `until`: draft, handed_in or sealed."""
    percents = percents or {"minimum": 3.2, "design": 3.4}
    day = ran(direct_day(scene, method, **options))
    if method == "draw_down":
        sank(vessel(day), percents)
    elif method == "weighed":
        lightened(scale(day), percents)
    elif method == "two_flows":
        two_flows(metered(scene, day), percents)
    else:
        in_its_place(metered(scene, day), percents)
    put_back(day)
    if until != "draft":
        hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    if until == "sealed":
        signed(day)
    return ProportioningTest.objects.get(pk=day.test.pk)


def run_at(test: ProportioningTest, name: str = "design") -> DirectRun:
    return DirectRun.objects.get(run__test=test, run__flow_point__name=name)
