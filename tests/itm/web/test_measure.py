"""The page of a direct test's measurements, its record, its paper and its place in the trend."""

import html
import re
from datetime import UTC, date, datetime

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from itm.records import chain
from itm.records.models import FlowRun, ProportioningTest
from itm.records.services import plan_visit
from itm.reports.content import paper
from itm.reports.render import page_context
from itm.trends.queries import series
from tests.deeds import tested
from tests.direct_deeds import direct_day, measured_test, metered, ran, run_at

DEFINITION = "Percent is the volume of concentrate in 100 volumes of solution"


@pytest.fixture
def crew(client: Client, scene, sign_in) -> Client:
    return sign_in(client, scene.contractor)


def plain(answer) -> str:
    body = answer.content.decode()
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def note(client: Client, run: FlowRun, **typed: str):
    return client.post(reverse("run_measured", args=[run.key]), typed)


def test_the_method_is_chosen_at_prepare_and_frozen(crew, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15))
    address = f"{reverse('test_new', args=[visit.key])}?proportioner={scene.proportioner.key}"
    assert "Tank draw-down over time" in plain(crew.get(address))
    page = crew.get(f"{address}&method=draw_down")
    assert 'name="instrument"' not in page.content.decode()
    points = [str(p.key) for p in scene.proportioner.flow_points.all()]
    crew.post(address, {
        "proportioner": str(scene.proportioner.key), "method": "draw_down", "purpose": "periodic",
        "phase": "as_found", "flow_points": points,
    })  # fmt: skip
    test = ProportioningTest.objects.get(visit=visit)
    assert (test.method, test.bench, test.tank) == ("draw_down", None, scene.tank)
    prepared = plain(crew.get(reverse("test_prepare", args=[test.key])))
    assert "tank draw-down over time" in prepared
    assert "Correct every reading" not in prepared


def test_another_liquid_without_a_baseline_is_refused_at_prepare_with_what_was_typed(crew, scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15))
    address = f"{reverse('test_new', args=[visit.key])}?proportioner={scene.proportioner.key}"
    answer = crew.post(address, {
        "proportioner": str(scene.proportioner.key), "method": "other_liquid",
        "purpose": "periodic", "phase": "as_found", "liquid": "surrogate",
        "liquid_name": "Invented oil",
        "flow_points": [str(p.key) for p in scene.proportioner.flow_points.all()],
    })  # fmt: skip
    assert answer.status_code == 422
    assert "Test with concentrate first" in plain(answer)
    assert 'value="Invented oil"' in answer.content.decode()


def test_setup_and_flows_are_kept_as_typed_with_the_percent_beside_them(crew, scene):
    day = ran(direct_day(scene, "two_flows"))
    page = crew.get(reverse("measure", args=[day.test.key]))
    assert DEFINITION in plain(page)
    saved = crew.post(reverse("measure", args=[day.test.key]), {
        "concentrate_fitted": "FT-3", "concentrate_accuracy": "1", "concentrate_accuracy_unit": "%",
        "meter_in": "solution", "second_fitted": "FT-7", "second_accuracy": "2",
        "second_accuracy_unit": "%",
    })  # fmt: skip
    assert saved.status_code == 302, plain(saved)
    run = run_at(day.test).run
    answer = note(
        crew, run, concentrate_source="meter", concentrate_read="rate", concentrate_flow="64,6",
        concentrate_flow_unit="L/min", second_read="discharge",
    )  # fmt: skip
    assert answer.status_code == 302
    assert run_at(day.test).concentrate_flow_typed == "64,6 L/min"
    shown = plain(crew.get(reverse("measure", args=[day.test.key])))
    assert re.search(r"Flow point design .* 3\.400 % .* in band", shown)


def test_a_duration_that_can_be_read_two_ways_comes_back_as_typed(crew, scene):
    day = direct_day(scene, "draw_down")
    answer = note(crew, run_at(day.test).run, duration="2.30")
    assert answer.status_code == 422
    assert "write minutes and seconds as 2:30" in plain(answer)
    assert 'value="2.30"' in answer.content.decode()
    note(crew, run_at(day.test).run, duration="2:30")
    page = plain(crew.get(reverse("measure", args=[day.test.key])))
    assert "The time between is 2 minutes 30 seconds." in page


def test_the_same_field_by_two_people_is_a_conflict_and_nothing_is_lost(crew, scene):
    day = direct_day(scene, "draw_down")
    run = run_at(day.test).run
    note(crew, run, duration="2:30")
    crossed = note(crew, run, **{"duration": "3:00", "opened-duration": ""})
    assert crossed.status_code == 422
    assert "wrote “2:30” here" in plain(crossed)
    assert run_at(day.test).duration_typed == "2:30"
    assert note(crew, run, **{"duration": "3:00", "opened-duration": "2:30"}).status_code == 302


def test_discharge_offers_no_bottle_and_leads_to_measure(crew, scene):
    day = direct_day(scene, "two_flows")
    page = crew.get(reverse("discharge", args=[day.test.key])).content.decode()
    assert "Sample taken" not in page
    assert reverse("measure", args=[day.test.key]) in page
    assert crew.get(reverse("bench", args=[day.test.key])).status_code in (409, 422)
    bench = tested(scene, until="draft", on=date(2026, 6, 16))
    assert crew.get(reverse("measure", args=[bench.key])).status_code == 404


def test_record_shows_two_lines_of_answer_minutes_and_measurements(crew, scene):
    test = measured_test(scene, "two_flows", {"minimum": 3.2, "design": 4.2}, until="draft")
    page = plain(crew.get(reverse("test", args=[test.key])))
    assert re.search(r"Flow point design .*? 4\.20 % .*? rich .*? of 100", page)
    # 950 L at 1900 L/min and 4.2 % (arithmetic).
    assert "11.9 min: covers the required 10 min" in page
    assert "79.8 L/min" in page
    assert "Standard uncertainty from: solution meter" in page
    assert (
        reverse("hand_in", args=[test.key])
        in crew.get(reverse("test", args=[test.key])).content.decode()
    )


def test_undecided_weights_say_what_would_settle_it(crew, scene):
    test = measured_test(scene, "weighed", {"minimum": 3.2, "design": 3.02}, until="draft")
    page = plain(crew.get(reverse("test", args=[test.key])))
    assert "undecided" in page
    assert re.search(r"Would settle it: .*? (as long|as well)", page)


def test_undecided_draw_down_says_what_would_settle_it(crew, scene):
    test = measured_test(scene, "draw_down", {"minimum": 3.2, "design": 3.02}, until="draft")
    page = plain(crew.get(reverse("test", args=[test.key])))
    assert "undecided" in page
    assert re.search(r"Would settle it: .*? (as long|as well) at this flow point", page)


@pytest.mark.parametrize("method", ["two_flows", "draw_down", "weighed", "other_liquid"])
def test_the_paper_holds_what_was_measured_and_by_what(scene, method):
    liquid = {"liquid": "water"} if method == "other_liquid" else {}
    if liquid:
        tested(scene, {"minimum": 3.2, "design": 3.2}, on=date(2025, 6, 10))
    test = measured_test(scene, method, {"minimum": 3.2, "design": 3.3}, **liquid)
    form = chain.parsed(test.seal)
    sheet = paper(form, digest=test.seal.digest, verify_url="https://example.invalid/")
    page = render_to_string("report/report.html", page_context(sheet, styles=[]))
    text = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    assert DEFINITION.replace("Percent is the", "Percent is the") in text
    wanted = {
        "two_flows": ["62.7 L/min", "may be off by 1 % of the reading", "C-1"],
        "draw_down": ["standing cylinder, diameter 1.2 m", "4 minutes", "1.5 m"],
        "weighed": [
            "WT-3, certificate Q-9, read to 0.5 kg, may be off by 0.5 kg",
            "1.04 g/mL, either way by 3 kg/m³, from the certificate of the lot",
            "Weight before", "900 kg", "density 0.0055 %",
        ],
        "other_liquid": [
            "proportioning test of 10 Jun 2025, sealed record 1",
            "this liquid was read beside it on 10 Jun 2025", "acceptance report, page 3",
        ],
    }[method]  # fmt: skip
    for words in wanted:
        assert words in text
    assert "Calibration line" not in text
    assert "None" not in text


def test_change_of_method_is_a_mark_of_the_series(scene):
    """A trend across a change of method reads as drift where nothing marks it."""
    tested(scene, {"minimum": 3.2, "design": 3.4}, on=date(2024, 6, 10))
    measured_test(scene, "two_flows", {"minimum": 3.2, "design": 3.3}, on=date(2025, 6, 10))
    found = series(scene.contractor, scene.proportioner.key, datetime(2026, 6, 15, tzinfo=UTC))
    marks = [(event.words, event.changes) for event in found.events if event.kind == "method"]
    assert marks == [("by two flows", True)]
    assert [p.record.method for p in found.flow_points[1].points] == [
        "Refractive index (nD)", "flow of concentrate over flow of solution",
    ]  # fmt: skip


def test_two_methods_of_one_day_leave_the_series_with_its_own(scene):
    tested(scene, {"minimum": 3.2, "design": 3.4}, on=date(2024, 6, 10))
    measured_test(scene, "two_flows", {"minimum": 3.2, "design": 3.1}, on=date(2025, 6, 10))
    tested(scene, {"minimum": 3.2, "design": 3.3}, on=date(2025, 6, 10))
    found = series(scene.contractor, scene.proportioner.key, datetime(2026, 6, 15, tzinfo=UTC))
    design = found.flow_points[1]
    assert [round(p.result.percent, 2) for p in design.points] == [3.4, 3.3]
    assert [round(p.result.percent, 2) for p in design.beside] == [3.1]
    assert [event for event in found.events if event.kind == "method"] == []


def test_what_others_see_takes_no_entries(client, scene, sign_in):
    day = metered(scene, direct_day(scene, "two_flows"))
    for actor in (scene.owner, scene.authority):
        answer = sign_in(Client(), actor).get(reverse("measure", args=[day.test.key]))
        assert answer.status_code == 404
    handed = measured_test(scene, "draw_down", until="handed_in", on=date(2026, 6, 17))
    page = plain(sign_in(client, scene.owner).get(reverse("measure", args=[handed.key])))
    assert "takes no entries from you" in page
    assert "4 minutes" in page
