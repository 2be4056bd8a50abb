"""A direct test through entries and as a document: the same record as through the services."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest

from itm.doors.day import day_of
from itm.doors.document import DocumentRefused
from itm.doors.entries import take
from itm.doors.hand_in_day import hand_in_day
from itm.records.as_it_stands import record_form
from itm.records.models import ProportioningTest
from itm.records.services import plan_visit
from tests.direct_deeds import direct_day, measured_test, run_at

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
