"""Planning a visit, the people told, and preparing a test."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from itm.accounts.actor import system
from itm.accounts.models import Organisation
from itm.actions.start_test_day import start_test_day
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.core.quantities import Quantity
from itm.records import queries
from itm.records.discharge import add_sample, foam_seen
from itm.records.merge import Crossed
from itm.records.models import ProportioningTest
from itm.records.preparing import add_run, change_test, open_bench, prepare_test
from itm.records.services import add_notice, change_visit, plan_visit, take_back_start
from itm.registry.restoring import restoration_order
from tests.factories import (
    TODAY,
    ConcentrateLotFactory,
    EquipmentFactory,
    GrantFactory,
    InstrumentFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
    StoreMovementFactory,
    TankFactory,
    actor_of,
)

AT = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)


def planned(scene, **values):
    return plan_visit(
        actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15), **values
    )


def bench_for(scene, visit, **values):
    chosen = {"tank": scene.tank, "instrument": scene.instrument, **values}
    return open_bench(actor=scene.contractor, visit=visit, **chosen)


def prepared(scene, visit=None, **values):
    visit = visit or planned(scene)
    chosen = {"purpose": "periodic", "at": AT, **values}
    chosen.setdefault("bench", visit.benches.first() or bench_for(scene, visit))
    return prepare_test(
        actor=scene.contractor, visit=visit, **{"proportioner": scene.proportioner, **chosen}
    )


def test_contractor_plans_only_where_it_is_engaged(scene):
    assert planned(scene).contractor == scene.contractor.organisation
    elsewhere = SiteFactory(owner=scene.owner.organisation)
    GrantFactory(
        site=elsewhere,
        organisation=scene.contractor.organisation,
        starts_on=date(2020, 1, 1),
        ends_on=date(2026, 6, 14),
    )
    with pytest.raises(Refused) as ended:
        plan_visit(actor=scene.contractor, site=elsewhere, planned_on=TODAY)
    assert ended.value.code == "no_grant"
    with pytest.raises(Forbidden):
        plan_visit(actor=scene.owner, site=scene.site, planned_on=TODAY)


def test_only_the_crew_s_own_contractor_writes_in_a_visit(scene):
    visit = planned(scene)
    colleague = actor_of(scene.contractor.organisation, role="member")
    assert change_visit(actor=colleague, visit=visit, crew="A and B").crew == "A and B"
    rival = OrganisationFactory(kind=Organisation.Kind.CONTRACTOR)
    GrantFactory(site=scene.site, organisation=rival)
    for stranger in (scene.owner, scene.authority, actor_of(rival)):
        with pytest.raises(Forbidden):
            change_visit(actor=stranger, visit=visit, crew="Others")


def test_two_people_in_one_form_merge_by_field(scene):
    visit = planned(scene, crew="Ana")
    opened = {"crew": "Ana", "weather": ""}
    other = actor_of(scene.contractor.organisation)
    change_visit(actor=other, visit=visit, opened=opened, crew="Ana", weather="rain")
    row = change_visit(
        actor=scene.contractor, visit=visit, opened=opened, crew="Ana, Rui", weather=""
    )
    assert (row.crew, row.weather) == ("Ana, Rui", "rain")


def test_the_same_field_twice_is_a_conflict_that_overwrites_nothing(scene):
    visit = planned(scene, crew="Ana")
    opened = {"crew": "Ana", "weather": ""}
    other = actor_of(scene.contractor.organisation)
    change_visit(actor=other, visit=visit, opened=opened, crew="Bela", weather="")
    with pytest.raises(Crossed) as crossed:
        change_visit(
            actor=scene.contractor, visit=visit, opened=opened, crew="Rui", weather="windy"
        )
    sentence = crossed.value.places["crew"]
    assert other.person in sentence
    assert "“Bela”" in sentence
    assert "“Rui”" in sentence
    visit.refresh_from_db()
    assert (visit.crew, visit.weather) == ("Bela", "")
    again = change_visit(
        actor=scene.contractor, visit=visit, opened={**opened, "crew": "Bela"}, crew="Rui"
    )
    assert again.crew == "Rui"


def test_air_temperature_in_fahrenheit_is_asked_about(scene):
    visit = planned(scene)
    row = change_visit(actor=scene.contractor, visit=visit, ambient_c=Quantity(21.5, "21.5 °C"))
    assert (row.ambient_c, row.ambient_c_typed) == (21.5, "21.5 °C")
    with pytest.raises(Refused) as refusal:
        change_visit(actor=scene.contractor, visit=visit, ambient_c=Quantity(72, "72 °C"))
    assert refusal.value.code == "air_temperature"


def test_notice_says_who_told_whom(scene):
    visit = planned(scene)
    notice = add_notice(
        actor=scene.contractor, visit=visit, told="Fire service", told_at=AT, reference="88"
    )
    assert (notice.told_by, notice.reference) == (scene.contractor.person, "88")
    with pytest.raises(Refused) as refusal:
        add_notice(actor=scene.contractor, visit=visit, told=" ", told_at=AT)
    assert refusal.value.place == "told"


def test_bench_takes_own_instrument_and_a_lot_that_is_there(scene):
    visit = planned(scene)
    lot = scene.tank.movements.get().lot
    assert bench_for(scene, visit, lot=lot).batch_volume_ml == 200
    drum = StoreMovementFactory(store__site=scene.site).store.lot
    assert bench_for(scene, visit, lot=drum).lot == drum  # said on the record, not kept off it
    waste = StoreMovementFactory(store__site=scene.site, store__standing="waste").store.lot
    elsewhere = StoreMovementFactory().store.lot
    for other in (waste, elsewhere):
        with pytest.raises(Refused, match="stands in no store of the site"):
            bench_for(scene, visit, lot=other)
    refusals = {
        "lot_not_there": {"lot": ConcentrateLotFactory(owner=scene.owner.organisation)},
        "instrument_not_yours": {"instrument": InstrumentFactory()},
        "instrument_retired": {
            "instrument": InstrumentFactory(
                organisation=scene.contractor.organisation, retired_on=date(2026, 1, 1)
            )
        },
        "tank_elsewhere": {"tank": TankFactory()},
        "batch_volume": {"batch_volume_ml": Decimal(0)},
    }
    for code, values in refusals.items():
        with pytest.raises(Refused) as refusal:
            bench_for(scene, visit, **values)
        assert refusal.value.code == code


def test_list_to_put_back_is_made_from_the_valves_when_nobody_wrote_one(scene):
    scene.proportioner.restoration_order = []
    scene.proportioner.save(by=scene.owner)
    valve = EquipmentFactory(site=scene.site, system=scene.system, tag="MV-2", name="Main valve")
    EquipmentFactory(site=scene.site, system=scene.system, tag="MV-3", retired_on=TODAY)
    test = prepared(scene)
    lines = [line.text for line in test.visit.restoration_lines.order_by("position")]
    assert lines == restoration_order("bladder", "bladder_tank", [valve])
    assert lines[0] == "MV-2 Main valve: open, locked"
    assert not any("MV-3" in line for line in lines)
    valve.normal_position = "closed"  # what was begun stays as it was begun
    valve.save(by=scene.owner)
    assert test.visit.restoration_lines.order_by("position").first().text == lines[0]


def test_prepared_test_holds_its_runs_steps_and_lines(scene):
    test = prepared(scene)
    assert [run.flow_point.name for run in test.runs.all()] == ["minimum", "design"]
    assert [s.text for s in test.flush_steps.all()] == scene.proportioner.flush_order
    lines = test.visit.restoration_lines.all()
    assert [line.text for line in lines] == scene.proportioner.restoration_order
    assert test.moves.get().verb == "prepare"
    assert Change.objects.filter(object_key=test.key).get().person == scene.contractor.person


def test_band_and_rule_are_frozen_at_prepare(scene):
    """3 % → 3.0 to 3.9 %: NFPA 11, fixtures/reference/check-values.json G-01."""
    test = prepared(scene)
    scene.proportioner.nominal_percent = Decimal("6")
    scene.proportioner.save(by=system(TODAY))
    scene.authority.organisation.verdict_probability = 0.95
    scene.authority.organisation.save(by=system(TODAY))
    test = ProportioningTest.objects.get(pk=test.pk)
    assert (test.band_lower, test.band_upper) == (Decimal("3.0"), Decimal("3.9"))
    assert (test.nominal_percent, test.verdict_probability) == (3, 0.75)


def test_limits_of_the_system_itself_come_before_the_common_rule(scene):
    scene.system.criterion = "custom"
    scene.system.custom_lower, scene.system.custom_upper = Decimal("2.7"), Decimal("3.3")
    scene.system.criterion_source = "Listing of the device"
    scene.system.save(by=system(TODAY))
    test = prepared(scene, proportioner=type(scene.proportioner).objects.get())
    assert (test.band_lower, test.band_upper) == (Decimal("2.7"), Decimal("3.3"))
    assert test.criterion_source == "Listing of the device"


@pytest.mark.parametrize(
    ("asked", "frozen"),
    [([], 0.75), ([None], None), ([None, 0.9], 0.9), ([0.75, 0.95], 0.95)],
)
def test_the_strictest_fire_authority_sets_the_rule(scene, asked, frozen):
    site = SiteFactory(owner=scene.owner.organisation)
    GrantFactory(site=site, organisation=scene.contractor.organisation)
    for probability in asked:
        over = OrganisationFactory(
            kind=Organisation.Kind.AUTHORITY, verdict_probability=probability
        )
        SiteAuthorityFactory(site=site, organisation=over)
    water = OrganisationFactory(kind=Organisation.Kind.AUTHORITY, verdict_probability=0.99)
    SiteAuthorityFactory(site=site, organisation=water, scope="environment")
    strict = OrganisationFactory(kind=Organisation.Kind.AUTHORITY, verdict_probability=0.98)
    SiteAuthorityFactory(site=site, organisation=strict, ended_on=date(2026, 1, 1))
    SiteAuthorityFactory(site=site, organisation=strict, taken_back_on=TODAY)
    device = ProportionerFactory(system__site=site)
    visit = plan_visit(actor=scene.contractor, site=site, planned_on=TODAY)
    bench = bench_for(scene, visit, tank=device.tank)
    assert prepared(scene, visit, proportioner=device, bench=bench).verdict_probability == frozen


def test_as_left_needs_as_found_and_the_parts_adjusted(scene):
    visit = planned(scene)
    with pytest.raises(Refused) as refusal:
        prepared(scene, visit, phase="as_left", adjusted="Orifice renewed")
    assert refusal.value.code == "as_found_first"
    prepared(scene, visit)
    with pytest.raises(Refused) as refusal:
        prepared(scene, visit, phase="as_left")
    assert refusal.value.code == "adjusted_missing"
    left = prepared(scene, visit, phase="as_left", adjusted="Orifice renewed")
    lines = left.visit.restoration_lines.all()
    assert len(lines) == len(scene.proportioner.restoration_order)
    with pytest.raises(Refused) as refusal:
        prepared(scene, visit)
    assert refusal.value.code == "one_test_a_phase"
    with pytest.raises(Refused) as refusal:
        change_test(actor=scene.contractor, test=left, adjusted="")
    assert refusal.value.code == "adjusted_missing"


def test_bench_of_another_tank_is_refused(scene):
    visit = planned(scene)
    bench = bench_for(scene, visit, tank=TankFactory(site=scene.site))
    with pytest.raises(Refused) as refusal:
        prepared(scene, visit, bench=bench)
    assert refusal.value.code == "other_tank"


def test_flow_point_left_out_can_be_run_after_all(scene):
    minimum, design = scene.proportioner.flow_points.order_by("flow")
    test = prepared(scene, flow_points=[design])
    assert test.runs.count() == 1
    for _ in range(2):
        add_run(actor=scene.contractor, test=test, flow_point=minimum)
    assert test.runs.count() == 2
    foreign = ProportionerFactory(system=scene.system).flow_points.first()
    with pytest.raises(Refused) as refusal:
        add_run(actor=scene.contractor, test=test, flow_point=foreign)
    assert refusal.value.code == "foreign_flow_point"


def test_start_of_the_test_day_opens_the_impairment_to_owner_and_authority(scene):
    visit = planned(scene)
    start = {"actor": scene.contractor, "key": visit.key, "at": AT, "coordinator": "The owner"}
    with pytest.raises(Refused) as refusal:
        start_test_day(reason="Annual test", **start)
    assert refusal.value.code == "nothing_prepared"
    test = prepared(scene, visit)
    with pytest.raises(NotFound):
        queries.visit(scene.authority, visit.key)
    with pytest.raises(Refused) as refusal:
        foam_seen(actor=scene.contractor, run=test.runs.first(), at=AT)
    assert refusal.value.code == "not_started"
    started = start_test_day(reason="Annual test", **start)
    assert started.impaired
    for reader in (scene.owner, scene.authority):
        assert queries.visit(reader, visit.key).impairment_reason == "Annual test"
        assert queries.visit_tests(reader, visit) == []
    with pytest.raises(Forbidden):
        start_test_day(**{**start, "actor": scene.owner}, reason="Another")
    later = datetime(2026, 6, 15, 12, tzinfo=UTC)
    with pytest.raises(Crossed) as crossed:
        start_test_day(**{**start, "at": later}, reason="Again")
    assert crossed.value.now == {"started_at": AT.isoformat(), "reason": "Annual test"}
    assert queries.visit(scene.owner, visit.key).started_at == AT


def test_day_of_the_test_is_read_off_the_site_s_clock(scene):
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=system(TODAY))
    test = prepared(scene, planned(scene))
    evening = datetime(2026, 6, 14, 21, 30, tzinfo=UTC)
    start_test_day(
        actor=scene.contractor, key=test.visit.key, reason="Annual test", coordinator="Owner",
        at=evening,
    )  # fmt: skip
    test.refresh_from_db()
    assert test.tested_on == date(2026, 6, 15)


def test_visit_of_a_handed_in_test_keeps_its_facts(scene):
    test = prepared(scene)
    visit = test.visit
    assert change_visit(actor=scene.contractor, visit=visit, crew="Ana").crew == "Ana"
    test.state, test.limits, test.certainty = "handed_in", "in band", "settled"
    test.handed_in_at = AT
    test.save(by=scene.contractor)
    writes = [
        lambda: change_visit(actor=scene.contractor, visit=visit, crew="Bela"),
        lambda: add_notice(actor=scene.contractor, visit=visit, told="Owner", told_at=AT),
        lambda: change_test(actor=scene.contractor, test=test, notes="Later"),
        lambda: add_sample(actor=scene.contractor, run=test.runs.first(), at=AT),
    ]
    for write in writes:
        with pytest.raises(Refused) as refusal:
            write()
        assert refusal.value.code == "not_draft"


def test_day_started_by_mistake_is_taken_back_until_something_is_noted(scene):
    test = prepared(scene)
    start = {"key": test.visit.key, "reason": "Annual test", "coordinator": "Owner", "at": AT}
    start_test_day(actor=scene.contractor, **start)
    for _ in range(2):
        assert not take_back_start(actor=scene.contractor, visit=test.visit).impaired
    with pytest.raises(NotFound):
        queries.visit(scene.authority, test.visit.key)
    start_test_day(actor=scene.contractor, **start)
    with pytest.raises(Forbidden):
        take_back_start(actor=scene.owner, visit=test.visit)
    foam_seen(actor=scene.contractor, run=test.runs.first(), at=AT)
    with pytest.raises(Refused) as refusal:
        take_back_start(actor=scene.contractor, visit=test.visit)
    assert refusal.value.code == "begun"
