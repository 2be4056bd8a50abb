"""A direct test through entries and as a document: the same record as through the services."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.direct_form import DIRECT_METHODS
from itm.doors.day import day_of
from itm.doors.document import DocumentRefused
from itm.doors.entries import take
from itm.doors.hand_in_day import hand_in_day
from itm.records import preparing
from itm.records.as_it_stands import record_form
from itm.records.direct_forms import of_method
from itm.records.models import ProportioningTest
from itm.records.services import plan_visit
from tests.direct_deeds import METER, direct_day, measured_test, metered, run_at
from tests.factories import InstrumentFactory

EVENING = datetime(2026, 6, 15, 18, tzinfo=UTC)
SETUP = {
    "concentrate_fitted": "FT-3", "concentrate_accuracy": "1 %", "meter_in": "solution",
    "second_fitted": "FT-7", "second_accuracy": "2 %",
}  # fmt: skip
MEASURED = {
    "concentrate_source": "meter", "concentrate_read": "rate", "concentrate_flow": "64.6 L/min",
}  # fmt: skip


def entry(verb: str, of: dict, put: dict, **more):
    keys = {name: str(key) for name, key in of.items()}
    return {"key": str(uuid4()), "verb": verb, "of": keys, "put": put, "at": None, **more}


def taken(scene, *entries):
    return take(actor=scene.contractor, entries=entries, device_now=EVENING, at=EVENING)


def test_entries_prepare_and_measure_a_direct_test(scene):
    visit = plan_visit(actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15))
    prepare = entry(
        "prepare_test", {"visit": visit.key},
        {"proportioner": str(scene.proportioner.key), "purpose": "periodic", "method": "two_flows"},
    )  # fmt: skip
    (first,) = taken(scene, prepare)
    assert (first.state, set(first.now)) == ("taken", {"test"})
    test = ProportioningTest.objects.get(key=prepare["key"])
    run = run_at(test).run
    answers = taken(
        scene, entry("note_setup", {"test": test.key}, SETUP),
        entry("note_measured", {"run": run.key}, {**MEASURED, "duration": "2:30"}),
    )  # fmt: skip
    assert [answer.state for answer in answers] == ["taken", "taken"]
    assert answers[1].now["duration"] == "2:30"
    day = day_of(scene.contractor, visit.key)
    (told,) = day["direct_tests"]
    assert (day["tests"], told["method"], told["bench"]) == ([], "two_flows", None)
    assert told["setup"]["second_accuracy"] == "2 %"
    assert told["measured"][str(run.key)]["concentrate_flow"] == "64.6 L/min"


@pytest.mark.parametrize(
    ("verb", "put", "code"),
    [
        ("note_setup", {"second_accuracy": "2"}, "unit_missing"),
        ("note_setup", {"shape": "box"}, "unknown_field"),  # of another method
        ("note_measured", {"mass_before": "900 kg"}, "unknown_field"),
        ("note_measured", {"duration": "2.30"}, "not_a_duration"),
    ],
)
def test_a_bad_entry_is_refused_at_its_field(scene, verb, put, code):
    day = direct_day(scene, "two_flows")
    of = {"test": day.test.key} if verb == "note_setup" else {"run": run_at(day.test).run.key}
    (answer,) = taken(scene, entry(verb, of, put))
    assert (answer.state, answer.code, answer.place) == ("refused", code, next(iter(put)))


def test_the_same_field_of_two_devices_crosses(scene):
    day = direct_day(scene, "two_flows")
    of = {"run": run_at(day.test).run.key}
    taken(scene, entry("note_measured", of, {"duration": "2:30"}))
    mine = entry("note_measured", of, {"duration": "3:00"}, opened={"duration": ""})
    (answer,) = taken(scene, mine)
    assert (answer.state, dict(answer.now)) == ("crossed", {"duration": "2:30"})


@pytest.mark.parametrize("method", DIRECT_METHODS)
def test_day_tells_what_each_method_asks_in_the_words_of_its_page(scene, method):
    if method == "other_liquid":
        measured_test(scene, "two_flows", on=date(2026, 5, 4))  # with foam, to compare with
    day = direct_day(scene, method, **({"liquid": "water"} if method == "other_liquid" else {}))
    meter = InstrumentFactory(organisation=scene.contractor.organisation, **METER)
    told = day_of(scene.contractor, day.test.visit.key)
    asked = told["direct_asked"][method]
    of_test, of_run = of_method(method)
    [test] = told["direct_tests"]
    assert {one["name"] for one in asked["note_setup"]} == set(of_test) == set(test["setup"])
    for measured in test["measured"].values():
        assert {one["name"] for one in asked["note_measured"]} == set(of_run) <= set(measured)
    both = {one["name"]: one for one in [*asked["note_setup"], *asked["note_measured"]]}
    assert [str(meter.key), str(meter)] in both["second_meter"]["choices"]
    assert both["duration"]["kind"] == "duration"
    assert both["second_flow"]["kind"] == "flow"
    assert set(told["units"]) == {
        "pressure", "flow", "volume", "length", "share", "mass", "density", "temperature",
    }  # fmt: skip
    assert {one["kind"] for one in both.values()} <= {
        "flow", "volume", "length", "share", "mass", "density", "choice", "duration", "day", "text",
    }  # fmt: skip
    assert test["definition"].startswith("Percent is the volume of concentrate")
    assert asked["notes"]


def test_a_day_takes_as_many_queries_with_more_direct_tests(scene):
    """Of a method only what it asks is read once, however many tests of the day have it."""

    def count(visit) -> int:
        with CaptureQueriesContext(connection) as queries:
            day_of(scene.contractor, visit.key)
        return len(queries)

    day = direct_day(scene, "two_flows")
    few = count(day.test.visit)
    preparing.prepare_test(
        actor=scene.contractor, visit=day.test.visit, proportioner=scene.proportioner,
        at=EVENING, bench=preparing.Direct("two_flows"), purpose="retest", phase="as_left",
        adjusted="orifice",
    )  # fmt: skip
    assert len(day_of(scene.contractor, day.test.visit.key)["direct_tests"]) == 2
    assert count(day.test.visit) == few


def test_a_device_names_the_meter_that_it_saw_by_its_key(scene):
    """What it saw stands still, so another one goes in its place; once changed, it crosses."""
    day = metered(scene, direct_day(scene, "two_flows"))
    seen = day_of(scene.contractor, day.test.visit.key)["direct_tests"][0]["setup"]
    organisation = scene.contractor.organisation
    third, fourth = (
        InstrumentFactory(organisation=organisation, name=name, **METER) for name in ("A", "B")
    )
    of, opened = {"test": day.test.key}, {"concentrate_meter": seen["concentrate_meter"]}
    first, second = (
        entry("note_setup", of, {"concentrate_meter": str(meter.key)}, opened=opened)
        for meter in (third, fourth)
    )
    answers = taken(scene, first, second)
    assert [answer.state for answer in answers] == ["taken", "crossed"]
    assert dict(answers[1].now) == {"concentrate_meter": str(third)}


def document(scene) -> dict:
    points = {p.name: str(p.key) for p in scene.proportioner.flow_points.all()}
    flows = {"minimum": ("600 L/min", "19.2 L/min"), "design": ("1900 L/min", "64.6 L/min")}
    lines = [
        {"text": text, "outcome": "restored", "ended_at": "2026-06-15T10:00:00Z"}
        for text in scene.proportioner.restoration_order
    ]
    return {
        "form": 1,
        "visit": {"site": str(scene.site.key), "planned_on": "2026-06-15"},
        "start": {"at": "2026-06-15T08:05:00Z", "reason": "test", "coordinator": "Owner"},
        "tests": [
            {
                "proportioner": str(scene.proportioner.key), "purpose": "periodic",
                "method": "two_flows", "direct": SETUP,
                "runs": [
                    {
                        "flow_point": points[name], "solution_flow": solution,
                        "flow_source": "meter", "direct": {**MEASURED, "concentrate_flow": line},
                    }
                    for name, (solution, line) in flows.items()
                ],
                "flush": [
                    {"done_at": "2026-06-15T09:00:00Z"} for _ in scene.proportioner.flush_order
                ],
                "restoration": lines,
            }
        ],
    }  # fmt: skip


def handed(scene, told: dict):
    return hand_in_day(actor=scene.contractor, document=told, key=uuid4(), at=EVENING)


def test_a_document_hands_in_a_direct_test_as_the_services_do(scene):
    answer = handed(scene, document(scene))
    (one,) = answer.value["tests"]
    assert (one["state"], one["limits"], one["certainty"]) == ("handed_in", "in band", "settled")
    test = ProportioningTest.objects.get(key=one["test"])
    form, _ = record_form(test)
    by_hand = measured_test(
        scene, "two_flows", {"minimum": 3.2, "design": 3.4}, until="handed_in",
        on=date(2026, 6, 16),
    )  # fmt: skip
    other, _ = record_form(by_hand)

    def percents(of) -> list[float]:
        return [p["percent"] for p in of["evaluation"]["result"]["flow_points"]]

    assert percents(form) == pytest.approx(percents(other))
    assert form["direct"]["runs"] == other["direct"]["runs"]


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda test: test["direct"].pop("second_accuracy"), "/tests/0/direct"),
        (
            lambda test: test["direct"].update(second_accuracy="much"),
            "/tests/0/direct/second_accuracy",
        ),
        (lambda test: test.update(bench="b"), "/tests/0/bench"),
        (
            lambda test: test["runs"][1]["direct"].update(duration="2.30"),
            "/tests/0/runs/1/direct/duration",
        ),
    ],
)
def test_a_slip_in_the_document_is_told_at_its_pointer(scene, change, place):
    told = document(scene)
    change(told["tests"][0])
    with pytest.raises(DocumentRefused) as refused:
        handed(scene, told)
    assert place in [problem.place for problem in refused.value.problems]


def test_a_direct_test_sets_out_no_bench(scene):
    day = direct_day(scene, "two_flows")
    (answer,) = taken(scene, entry("set_out_bench", {"test": day.test.key}, {}))
    assert (answer.state, answer.code) == ("refused", "no_bench")
