"""A day as one document: all of it or nothing, with every problem at its JSON pointer."""

from copy import deepcopy
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

import pytest

from itm.core.errors import Refused
from itm.core.history import Change
from itm.doors.document import DocumentRefused
from itm.intake.models import Receipt
from itm.records.models import Bottle, FlowRun, ProportioningTest, Reading, Visit
from tests.doors.documents import day_document, handed_in
from tests.factories import OrganisationFactory, ProportionerFactory, actor_of

EVENING = datetime(2026, 6, 15, 18, tzinfo=UTC)


@pytest.fixture
def document(scene):
    return day_document(scene)


def problems(scene, document, **options) -> list[tuple[str, str]]:
    before = Change.objects.count()
    with pytest.raises(DocumentRefused) as refusal:
        handed_in(scene, document, EVENING, **options)
    assert not Visit.objects.exists()
    assert not Receipt.objects.exists()
    assert Change.objects.count() == before
    assert all(one.sentence for one in refusal.value.problems)
    return [(one.place, one.code) for one in refusal.value.problems]


def at(document: Any, pointer: str) -> Any:
    for name in pointer.strip("/").split("/"):
        document = document[int(name) if isinstance(document, list) else name]
    return document


def put(document: Any, pointer: str, value: Any) -> Any:
    head, _, name = pointer.rpartition("/")
    holder = at(document, head) if head else document
    holder[int(name) if isinstance(holder, list) else name] = value
    return document


def test_the_example_is_taken_and_handed_in(scene, document):
    answer = handed_in(scene, document, EVENING)
    test = ProportioningTest.objects.get()
    assert answer.value == {
        "visit": str(test.visit.key),
        "tests": [
            {
                "test": str(test.key), "state": "handed_in", "limits": "in band",
                "certainty": "settled",
            }
        ],
    }  # fmt: skip
    assert test.tested_on == date(2026, 6, 15)
    assert test.handed_in_at == EVENING
    assert Reading.objects.count() == 13
    assert Reading.objects.exclude(set_aside_at=None).get().value_typed == "1.33290"
    assert test.visit.impaired  # the tank waits for its tanker


def test_the_same_day_ten_times_is_one_day(scene, document):
    key = uuid4()
    answers = [handed_in(scene, document, EVENING, key=key) for _ in range(10)]
    assert len({str(answer.value) for answer in answers}) == 1
    assert [answer.repeated for answer in answers] == [False] + [True] * 9
    assert Visit.objects.count() == ProportioningTest.objects.count() == 1


def test_another_day_under_the_key_is_refused(scene, document):
    key = uuid4()
    handed_in(scene, document, EVENING, key=key)
    with pytest.raises(Refused) as refusal:
        handed_in(scene, put(document, "/visit/crew", "Others"), EVENING, key=key)
    assert refusal.value.code == "other_body"


def test_a_day_of_past_years_is_dated_as_it_was(scene, document):
    moved = _in_year(document, "2019")
    handed_in(scene, moved, EVENING)
    test = ProportioningTest.objects.get()
    assert test.tested_on == date(2019, 6, 15)
    assert test.handed_in_at == EVENING
    assert not test.visit.device_clocks.exists()


def _in_year(document: Any, year: str) -> Any:
    if isinstance(document, dict):
        return {name: _in_year(value, year) for name, value in document.items()}
    if isinstance(document, list):
        return [_in_year(value, year) for value in document]
    return document.replace("2026-", f"{year}-") if isinstance(document, str) else document


@pytest.mark.parametrize(
    ("pointer", "value", "code"),
    [
        ("/visit/site", "00000000-0000-4000-8000-000000000000", "invalid_choice"),
        ("/visit/planned_on", "15.6.2026", "invalid"),
        ("/visit/ambient_c", 12, "not_text"),
        ("/visit/ambient_c", "12", "unit_missing"),
        ("/visit/ambient_c", "300 °C", "air_temperature"),
        ("/visit/mood", "good", "unknown_field"),
        ("/notices/0/told", "", "required"),
        ("/notices/0/told_at", "2026-06-15T08:50:00", "time_without_zone"),
        ("/start/at", "2027-06-15T08:50:00Z", "to_come"),
        ("/start/reason", "", "required"),
        ("/tests/0/purpose", "fun", "invalid_choice"),
        ("/tests/0/bench", "bench 2", "no_bench"),
        ("/tests/0/proportioner", "00000000-0000-4000-8000-000000000000", "not_found"),
        ("/tests/0/runs/1/flow_point", "00000000-0000-4000-8000-000000000000", "no_flow_point"),
        ("/tests/0/runs/0/solution_flow", "600", "unit_missing"),
        ("/tests/0/runs/0/solution_flow", "1,900 L/min", "ambiguous_comma"),
        ("/tests/0/runs/0/flow_source", "", "source_missing"),
        ("/tests/0/runs/0/samples/1/taken_at", None, "missing"),
        ("/tests/0/runs/0/samples/1/label", "minimum 1", "label_used"),
        ("/tests/0/flush/1/text", "Water is shut", "other_step"),
        ("/tests/0/restoration/0/text", "Valve 17 open", "no_line"),
        ("/tests/0/restoration/9/handed_to", "", "required"),
        ("/benches/0/instrument", "00000000-0000-4000-8000-000000000000", "invalid_choice"),
        ("/benches/0/standards/0/concentrate_ml", "four", "not_a_number"),
        ("/benches/0/standards/0/target_percent", "0", "out_of_range"),
        ("/benches/0/standards/1/readings/0/value", "13.336", "other_scale"),
        ("/benches/0/standards/1/readings/0/value", "1.333601", "finer_than_display"),
        ("/benches/0/standards/1/readings/0/temperature", "72", "fahrenheit"),
        ("/benches/0/water/readings/0/set_aside/reason", "", "required"),
        ("/form", 2, "unknown_form"),
    ],
)
def test_a_problem_stands_at_its_place_and_nothing_is_kept(scene, document, pointer, value, code):
    assert (pointer, code) in problems(scene, put(document, pointer, value))


def test_all_problems_are_told_at_once(scene, document):
    for pointer, value in (
        ("/visit/weather", 7),
        ("/tests/0/runs/1/inlet_pressure", "high"),
        ("/benches/0/standards/2/readings/0/value", "n/a"),
    ):
        put(document, pointer, value)
    assert [place for place, _ in problems(scene, document)] == [
        "/visit/weather",
        "/tests/0/runs/1/inlet_pressure",
        "/benches/0/standards/2/readings/0/value",
    ]


@pytest.mark.parametrize(
    ("remove", "place", "code"),
    [
        ("/tests/0/restoration/3", "/tests/0/restoration", "restoration_open"),
        ("/tests/0/flush/5", "/tests/0/flush", "flush_open"),
        ("/benches/0/water", "/tests/0/bench", "water_missing"),
        ("/tests/0/runs/1/solution_flow", "/tests/0/runs", "flow_missing"),
        ("/tests/0/runs/1/samples", "/tests/0/bench", "sample_missing"),
        ("/start", "/tests/0/runs/0", "not_started"),
        ("/visit", "/visit", "missing"),
        ("/tests", "/tests", "no_tests"),
    ],
)
def test_what_is_missing_is_told(scene, document, remove, place, code):
    head, _, name = remove.rpartition("/")
    holder = at(document, head) if head else document
    del holder[int(name) if isinstance(holder, list) else name]
    assert (place, code) in problems(scene, document)


@pytest.mark.parametrize("document", [None, [], "day", {"tests": {}}, {"visit": []}, {"x/y~z": 1}])
def test_what_is_no_day_is_refused(scene, document):
    assert problems(scene, document)


def test_an_unknown_name_is_escaped_in_its_pointer(scene, document):
    document["x/y~z"] = 1
    assert ("/x~1y~0z", "unknown_field") in problems(scene, document)


def test_a_day_can_stay_a_draft(scene, document):
    answer = handed_in(scene, put(document, "/tests/0/hand_in", False), EVENING)
    assert answer.value["tests"][0]["state"] == "draft"
    assert ProportioningTest.objects.get().state == "draft"


def test_two_proportioners_share_a_bench(scene, document):
    other = ProportionerFactory(system=scene.system, tank=scene.tank)
    second = deepcopy(document["tests"][0])
    second["proportioner"] = str(other.key)
    for run, point in zip(second["runs"], other.flow_points.order_by("flow"), strict=True):
        run["flow_point"] = str(point.key)
        for sample in run["samples"]:
            sample["label"] = f"second {sample['label']}"
    document["tests"].append(second)
    handed_in(scene, document, EVENING)
    assert ProportioningTest.objects.filter(state="handed_in").count() == 2
    assert len({test.bench_id for test in ProportioningTest.objects.all()}) == 1
    assert Bottle.objects.filter(role="water").count() == 1


def test_a_planned_visit_takes_its_day(scene, document):
    from itm.records import services

    planned = services.plan_visit(
        actor=scene.contractor, site=scene.site, planned_on=date(2026, 6, 15)
    )
    document["visit"] = {"key": str(planned.key), "weather": "rain"}
    answer = handed_in(scene, document, EVENING)
    assert answer.value["visit"] == str(planned.key)
    planned.refresh_from_db()
    assert planned.weather == "rain"


def test_outlets_of_a_run_make_its_flow(scene, document):
    run = document["tests"][0]["runs"][0]
    del run["solution_flow"], run["flow_source"]
    run["outlets"] = ["38 mm; 0.90; 2.1 bar"]
    handed_in(scene, document, EVENING)
    assert FlowRun.objects.filter(outlets=run["outlets"], flow_source="pitot").count() == 1


def test_a_stranger_hands_in_nothing(scene, document):
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    assert ("/visit/site", "invalid_choice") in problems(scene, document, actor=stranger)


def test_an_owner_hands_in_nothing(scene, document):
    assert problems(scene, document, actor=scene.owner)[0][0].startswith("/visit")
