"""The pages of a test day, as the crew presses them and as the others see them."""

from datetime import UTC, datetime

import pytest
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from itm.records import queries
from itm.records.discharge import add_sample, foam_seen, note_run
from itm.records.models import Bottle, ProportioningTest, RestorationLine, Visit
from itm.records.restoration import end_line
from itm.records.services import change_visit, plan_visit
from tests import deeds
from tests.factories import TODAY, InstrumentFactory, ProportionerFactory, actor_of

AT = datetime(2026, 6, 15, 8, 0, tzinfo=UTC)


@pytest.fixture
def crew(client, sign_in, scene):
    return sign_in(client, scene.contractor)


@pytest.fixture
def day(scene):
    """A test whose day has begun."""
    return deeds.prepared(scene).test


def page(client, name, *args, **query):
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def press(client, name, *args, **data):
    return client.post(reverse(name, args=args), data)


def test_crew_plans_prepares_and_starts_by_pressing(crew, scene):
    answer = press(
        crew, "visit_new", site=scene.site.key, planned_on="2026-06-15", crew="Two people"
    )
    visit = Visit.objects.get()
    assert answer.url == reverse("visit", args=[visit.key])
    assert "Prepare a test" in page(crew, "visit", visit.key)
    assert scene.proportioner.tag in page(crew, "test_new", visit.key)
    shown = page(crew, "test_new", visit.key, proportioner=scene.proportioner.key)
    assert "3.0 to 3.9 %" in shown
    points = [str(p.key) for p in scene.proportioner.flow_points.all()]
    answer = press(
        crew, "test_new", visit.key, proportioner=scene.proportioner.key, purpose="periodic",
        phase="as_found", flow_points=points, bench="new", instrument=scene.instrument.key,
        lot=scene.tank.movements.get().lot.key, batch_volume_ml="200", water_source="Hydrant 3",
    )  # fmt: skip
    test = ProportioningTest.objects.get()
    assert answer.url == reverse("test_prepare", args=[test.key])
    assert test.bench.water_source == "Hydrant 3"
    assert "Start the test day" in page(crew, "visit", visit.key)
    press(crew, "start_test_day", visit.key, reason="Annual test", coordinator="The owner")
    assert Visit.objects.get().impaired
    shown = page(crew, "visit", visit.key)
    assert "Out of service for" in shown
    assert f"Discharge: {test.proportioner.tag}" in shown


def test_second_device_of_the_tank_is_offered_the_bench_of_the_first(crew, scene, day):
    second = ProportionerFactory(system=scene.system, tank=scene.tank)
    shown = page(crew, "test_new", day.visit.key, proportioner=second.key)
    assert "Shared bench" in shown
    press(
        crew, "test_new", day.visit.key, proportioner=second.key, purpose="periodic",
        phase="as_found", flow_points=[str(p.key) for p in second.flow_points.all()],
        bench=str(day.bench.key),
    )  # fmt: skip
    assert second.tests.get().bench == day.bench
    other_tank = ProportionerFactory(system=scene.system)
    shown = page(crew, "test_new", day.visit.key, proportioner=other_tank.key)
    assert "Shared bench" not in shown


def test_wrong_entries_come_back_with_sentences_and_all_that_was_typed(crew, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    answer = press(
        crew, "test_new", visit.key, proportioner=scene.proportioner.key, purpose="periodic",
        phase="as_left", flow_points=[], bench="new", water_source="Hydrant 3",
    )  # fmt: skip
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose what a new bench is read with." in text
    assert "Hydrant 3" in text
    assert not ProportioningTest.objects.exists()


def test_refused_test_leaves_no_bench_behind(crew, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    point = scene.proportioner.flow_points.first()
    chosen = {
        "proportioner": scene.proportioner.key, "purpose": "periodic", "flow_points": [point.key],
        "bench": "new", "instrument": scene.instrument.key, "batch_volume_ml": "200",
    }  # fmt: skip
    answer = press(crew, "test_new", visit.key, phase="as_left", adjusted="Orifice", **chosen)
    assert "Test as found first" in answer.content.decode()
    assert not visit.benches.exists()
    press(crew, "test_new", visit.key, phase="as_found", **chosen)
    assert visit.benches.count() == 1


def test_prepare_says_what_each_instrument_can_settle(crew, scene):
    """3.0 to 3.9 % at the slope 2e-4 of the deeds: 18 steps of 1e-5 and 1.8 of 1e-4."""
    deeds.tested(scene)
    coarse = InstrumentFactory(
        organisation=scene.contractor.organisation, name="Hand refractometer", resolution="0.0001"
    )
    InstrumentFactory(
        organisation=scene.contractor.organisation, name="Scale", resolution="0.00005",
        division="0.0001",
    )  # fmt: skip
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    shown = page(crew, "test_new", visit.key, proportioner=scene.proportioner.key)
    assert "into 18.0 steps" in shown
    by_eye = "read to 0.00005, by eye between marks 0.0001 apart"
    assert f"divides the band 3.0 to 3.9 % into 3.6 steps of its scale, {by_eye}" in shown
    assert f"{coarse}: divides the band 3.0 to 3.9 % into 1.8 steps" in shown
    assert "expect undecided" in shown
    assert "15 Jun 2026" in shown


def test_buttons_stamp_by_the_server_s_clock(crew, scene, day):
    run = day.runs.first()
    before = timezone.now()
    answer = press(crew, "run_foam", run.key)
    assert answer.url == f"{reverse('discharge', args=[day.key])}#run-{run.key}"
    press(crew, "run_sample", run.key, seen="0")
    bottle = Bottle.objects.get(run=run)
    assert before <= bottle.taken_at <= timezone.now()
    shown = page(crew, "discharge", day.key)
    assert "under 30 s" in shown
    assert "2 to go" in shown


def test_press_from_a_page_with_script_gets_the_card_alone(crew, scene, day):
    run = day.runs.first()
    url = reverse("run_sample", args=[run.key])
    answer = crew.post(url, {"seen": "0"}, headers={"HX-Request": "true"})
    text = answer.content.decode()
    assert answer.headers["Vary"].find("HX-Request") >= 0
    assert "minimum 1" in text
    assert "<html" not in text
    again = crew.post(url, {"seen": "0"}, headers={"HX-Request": "true"})
    assert again.status_code == 409
    assert "press again if this is one more bottle" in again.content.decode()
    assert Bottle.objects.filter(run=run).count() == 1


def test_times_are_shown_and_typed_on_the_site_s_clock(crew, scene, day):
    """Europe/Lisbon is an hour ahead of UTC in June."""
    run = day.runs.first()
    foam_seen(actor=scene.contractor, run=run, at=datetime(2026, 6, 15, 9, 0, 5, tzinfo=UTC))
    assert "10:00:05" in page(crew, "discharge", day.key)
    press(crew, "run_sample", run.key, seen="0", at="2026-06-15T10:00:50")
    assert Bottle.objects.get(run=run).taken_at == datetime(2026, 6, 15, 9, 0, 50, tzinfo=UTC)
    shown = page(crew, "discharge", day.key)
    assert "10:00:50" in shown
    assert "45 s" in shown
    late = press(crew, "run_sample", run.key, seen="1", at="2099-01-01T10:00:00")
    assert late.status_code == 422
    assert "still to come" in late.content.decode()


def test_measures_save_and_bad_ones_come_back(crew, scene, day):
    run = day.runs.first()
    typed = {
        "inlet_pressure": "7,5", "inlet_pressure_unit": "bar", "solution_flow": "600",
        "solution_flow_unit": "L/min", "flow_source": "nameplate",
    }  # fmt: skip
    press(crew, "run_note", run.key, **typed)
    run.refresh_from_db()
    assert (run.inlet_pressure, run.inlet_pressure_typed) == (750000, "7,5 bar")
    assert "it is no evidence that this flow point" in page(crew, "discharge", day.key)
    answer = press(crew, "run_note", run.key, **{**typed, "solution_flow": "lots"})
    assert answer.status_code == 422
    assert "lots" in answer.content.decode()


def test_outlets_make_the_flow_and_come_back_as_typed(crew, scene, day):
    run = day.runs.first()
    typed = {
        "outlets-0-diameter": "38", "outlets-0-diameter-unit": "mm",
        "outlets-0-coefficient": "0,90", "outlets-0-pressure": "2.1",
        "outlets-0-pressure-unit": "bar", "outlets-1-coefficient": "0.9",
        "outlets-1-diameter-unit": "mm", "outlets-1-pressure-unit": "bar",
    }  # fmt: skip
    answer = press(crew, "run_note", run.key, **typed)
    assert answer.status_code == 422
    assert "Outlet 2 is “; 0.9; ”" in answer.content.decode()
    assert 'value="0,90"' in answer.content.decode()
    press(crew, "run_note", run.key, **{**typed, "outlets-1-coefficient": ""})
    run.refresh_from_db()
    assert run.outlets == ["38 mm; 0,90; 2.1 bar"]
    assert run.flow_source == "pitot"
    shown = page(crew, "discharge", day.key)
    assert f'value="{run.solution_flow_typed.split()[0]}"' in shown
    assert "Outlets, whose flows make the solution flow" in shown


def test_same_measure_by_two_people_keeps_both_and_overwrites_nothing(crew, scene, day):
    run = day.runs.first()
    other = actor_of(scene.contractor.organisation)
    note_run(actor=other, run=run, inlet_pressure=deeds.quantity("6", "bar", deeds.PRESSURE))
    typed = {
        "inlet_pressure": "7", "inlet_pressure_unit": "bar", "opened-inlet_pressure": "",
        "level_before": "900", "level_before_unit": "L", "opened-level_before": "",
    }  # fmt: skip
    answer = press(crew, "run_note", run.key, **typed)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert other.person in text
    assert "“6 bar”" in text
    assert 'name="opened-inlet_pressure" value="6 bar"' in text
    assert 'value="900"' in text
    run.refresh_from_db()
    assert (run.inlet_pressure_typed, run.level_before_typed) == ("6 bar", "")
    press(crew, "run_note", run.key, **{**typed, "opened-inlet_pressure": "6 bar"})
    run.refresh_from_db()
    assert (run.inlet_pressure_typed, run.level_before_typed) == ("7 bar", "900 L")


def test_sample_is_withdrawn_and_brought_back(crew, scene, day):
    bottle = add_sample(actor=scene.contractor, run=day.runs.first(), at=AT)
    assert "Withdraw it" in page(crew, "sample_withdraw", bottle.key)
    press(crew, "sample_withdraw", bottle.key, reason="Pressed by mistake")
    assert "withdrawn: Pressed by mistake" in page(crew, "discharge", day.key)
    press(crew, "sample_bring_back", bottle.key)
    assert not Bottle.objects.exclude(withdrawn_reason="").exists()


def test_flush_offers_the_next_step_alone(crew, scene, day):
    first, second = day.flush_steps.all()[:2]
    shown = page(crew, "flush", day.key)
    assert reverse("flush_done", args=[first.key]) in shown
    assert reverse("flush_done", args=[second.key]) not in shown
    answer = crew.post(reverse("flush_done", args=[second.key]), follow=True)
    assert f"First: {first.text}." in answer.content.decode()
    press(crew, "flush_done", first.key)
    assert reverse("flush_undone", args=[first.key]) in page(crew, "flush", day.key)
    press(crew, "flush_undone", first.key)
    first.refresh_from_db()
    assert first.done_at is None


def test_lines_end_on_their_page_and_with_them_the_impairment(crew, scene, day):
    lines = list(RestorationLine.objects.all())
    for line in lines[:-1]:
        press(crew, "line_end", line.key, outcome="restored")
    last = lines[-1]
    answer = press(crew, "line_left_out", last.key, reason="Valve seized", handed_to="")
    assert answer.status_code == 422
    assert "Valve seized" in answer.content.decode()
    press(
        crew, "line_left_out", last.key, reason="Valve seized", handed_to="Shift leader",
        handed_at="2026-06-15T10:00",
    )  # fmt: skip
    assert "Shift leader" in page(crew, "visit", day.visit.key)
    assert Visit.objects.get().impaired
    press(crew, "line_put_back", last.key)
    assert not Visit.objects.get().impaired
    assert "Back in service after" in page(crew, "restoring", day.visit.key)


def test_line_ended_by_mistake_is_reopened(crew, scene, day):
    line = RestorationLine.objects.first()
    press(crew, "line_end", line.key, outcome="restored")
    assert reverse("line_reopen", args=[line.key]) in page(crew, "restoring", day.visit.key)
    press(crew, "line_reopen", line.key)
    line.refresh_from_db()
    assert line.outcome == ""


def test_owner_and_authority_see_the_impairment_and_press_nothing(client, sign_in, scene, day):
    for reader in (scene.owner, scene.authority):
        sign_in(client, reader)
        assert "Out of service for" in page(client, "visit", day.visit.key)
        assert "out of service since" in page(client, "visits")
        assert "Restored</button>" not in page(client, "restoring", day.visit.key)
        line = RestorationLine.objects.first()
        assert press(client, "line_end", line.key, outcome="restored").status_code == 403
        assert client.get(reverse("discharge", args=[day.key])).status_code == 404
        assert client.get(reverse("visit_edit", args=[day.visit.key])).status_code == 403


def test_plan_is_the_contractor_s_own_until_the_day_begins(client, sign_in, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    sign_in(client, scene.owner)
    assert client.get(reverse("visit", args=[visit.key])).status_code == 404
    assert client.get(reverse("visit_new")).status_code == 403
    assert "No test day has been started" in page(client, "visits")


def test_handed_in_test_shows_what_was_noted_without_buttons(crew, scene):
    test = deeds.tested(scene, until="handed_in")
    shown = page(crew, "discharge", test.key)
    assert "Sample taken</button>" not in shown
    assert "7.5 bar" in shown
    assert "Done</button>" not in page(crew, "flush", test.key)
    answer = press(crew, "run_note", test.runs.first().key, flow_source="meter")
    assert "takes no more entries" in answer.content.decode()
    assert answer.status_code == 422
    assert "Change</a>" not in page(crew, "visit", test.visit.key)


def test_visit_edit_merges_with_what_another_wrote(crew, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY, crew="Ana")
    shown = page(crew, "visit_edit", visit.key)
    assert 'name="opened-crew" value="Ana"' in shown
    change_visit(actor=actor_of(scene.contractor.organisation), visit=visit, weather="rain")
    press(
        crew, "visit_edit", visit.key, planned_on="2026-06-15", crew="Ana, Rui", weather="",
        ambient_c="21,5", ambient_c_unit="°C", **{"opened-crew": "Ana", "opened-weather": "",
        "opened-planned_on": "2026-06-15", "opened-ambient_c": ""},
    )  # fmt: skip
    visit.refresh_from_db()
    assert (visit.crew, visit.weather, visit.ambient_c) == ("Ana, Rui", "rain", 21.5)


def test_next_thing_follows_the_day(scene, day):
    from itm.web.visits import next_thing

    def now():
        row = queries.visit(scene.contractor, day.visit.key)
        return next_thing(row, queries.visit_tests(scene.contractor, row))[0]

    tag = f"{day.proportioner.tag}, as found"
    assert now() == f"Discharge: {tag}"
    work = deeds.Day(scene.contractor, day, AT)
    deeds.discharged(work)
    assert now() == f"Restore: {tag}"
    lines = list(day.visit.restoration_lines.all())
    for line in lines[:-1]:
        end_line(actor=scene.contractor, line=line, outcome="restored", at=work.tick())
    out = {"reason": "Seized", "handed_to": "Owner", "handed_at": AT}
    end_line(actor=scene.contractor, line=lines[-1], outcome="left_out", at=work.tick(), **out)
    assert now() == f"Bench: {tag}"
    deeds.read(work, {"minimum": 3.2, "design": 3.4})
    assert now() == f"Hand in: {tag}"
    deeds.hand_in(actor=scene.contractor, key=day.key, at=work.tick())
    assert now() == "Put back what is out of service"


def test_pages_of_a_day_keep_their_number_of_queries(
    crew, scene, day, django_assert_max_num_queries
):
    for _ in range(12):
        add_sample(actor=scene.contractor, run=day.runs.first(), at=AT)
    names = [("discharge", day.key, 25), ("visit", day.visit.key, 25)]
    for name, key, most in [*names, ("restoring", day.visit.key, 20)]:
        with django_assert_max_num_queries(most):
            answer = crew.get(reverse(name, args=[key]))
        assert answer.status_code == 200


def test_list_of_visits_costs_the_same_with_3_and_with_20(crew, scene):
    from django.db import connection

    def cost():
        with CaptureQueriesContext(connection) as seen:
            page(crew, "visits")
        return len(seen)

    for _ in range(3):
        plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    few = cost()
    for _ in range(17):
        plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    assert cost() == few


def test_visit_to_a_site_is_found_by_a_part_of_its_name(crew, scene):
    plan_visit(actor=scene.contractor, site=scene.site, planned_on=TODAY)
    assert "15 Jun 2026" in page(crew, "visits", find=scene.site.name[:4])
    assert "Nothing here fits" in page(crew, "visits", find="no such place")


def test_start_is_taken_back_while_nothing_was_noted(crew, scene, day):
    assert "Started by mistake" in page(crew, "visit", day.visit.key)
    press(crew, "start_take_back", day.visit.key)
    assert Visit.objects.get().started_at is None
    assert "Started by mistake" not in page(crew, "visit", day.visit.key)


def test_record_shows_the_steps_of_its_day(crew, scene, day):
    for name in ("test_prepare", "discharge", "flush"):
        assert "Stop and flush" in page(crew, name, day.key)
    assert "Steps of the test day" in page(crew, "restoring", day.visit.key)
