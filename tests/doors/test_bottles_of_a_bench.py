"""Several tests on one bench: papers, codes, type-in and server give a bottle the same name."""

import re
from urllib.parse import unquote

import pytest
from django.test import Client
from django.urls import reverse

from itm.actions.abandon import abandon
from itm.doors.blank_sheets import field_sheet, label_sheet, labels_of
from itm.doors.day import day_of
from itm.doors.filled_sheet import Sheet
from itm.doors.sample_labels import SAMPLES, printed
from itm.records import discharge, preparing
from itm.records.models import Bottle
from tests.doors.phone import MORNING
from tests.factories import ProportionerFactory
from tests.itm.reports.archival import text as text_of


def prepare(scene, draft, device, phase="as_found"):
    return preparing.prepare_test(
        actor=scene.contractor, visit=draft.visit, proportioner=device, bench=draft.bench,
        at=MORNING, purpose="periodic", phase=phase,
        adjusted="the metering orifice" if phase == "as_left" else "",
    )  # fmt: skip


@pytest.fixture
def as_left(scene, draft, phone):
    test = prepare(scene, draft, scene.proportioner, "as_left")
    phone.say("start_test_day", {"visit": draft.visit.key}, {"reason": "r", "coordinator": "she"})
    return test


@pytest.fixture
def beside(scene, draft, phone):
    """Of another proportioner, which draws from the same tank. Its tag sorts before the first."""
    device = ProportionerFactory(system=scene.system, tank=scene.tank, tag="A-0")
    test = prepare(scene, draft, device)
    phone.say("start_test_day", {"visit": draft.visit.key}, {"reason": "r", "coordinator": "she"})
    return test


def at(test, name):
    return test.runs.select_related("flow_point").get(flow_point__name=name)


def stamped(scene, phone, test, name, count):
    return [
        discharge.add_sample(actor=scene.contractor, run=at(test, name), at=phone.now).label
        for _ in range(count)
    ]


@pytest.mark.parametrize(
    ("second", "name"), [("as_left", "minimum as left"), ("beside", "minimum A-0")]
)
def test_every_bottle_of_a_bench_has_one_name_on_paper_and_on_the_server(
    request, scene, draft, phone, second, name
):
    other = request.getfixturevalue(second)
    day = day_of(scene.contractor, draft.visit.key)
    labels = labels_of(day)
    assert len({label.text for label in labels}) == len(labels)
    assert len({label.what + label.text for label in labels}) == len(labels)
    before = printed(day)
    assert before[str(at(draft, "minimum").key)] == [f"minimum {n}" for n in (1, 2, 3, 4)]
    assert before[str(at(other, "minimum").key)] == [f"{name} {n}" for n in (1, 2, 3, 4)]
    # Whoever is first and however many were caught of the other, the server names as printed.
    assert stamped(scene, phone, other, "minimum", 2) == [f"{name} 1", f"{name} 2"]
    assert stamped(scene, phone, draft, "minimum", 5) == [f"minimum {n}" for n in (1, 2, 3, 4, 5)]
    assert stamped(scene, phone, other, "minimum", 1) == [f"{name} 3"]
    assert printed(day_of(scene.contractor, draft.visit.key)) == before
    sheet = text_of(field_sheet(scene.contractor, draft.visit.key, size="a4"))
    for text in (*before[str(at(draft, "design").key)], *before[str(at(other, "design").key)]):
        assert sheet.count(text) >= 2, text  # at the discharge, and on the bench


def test_a_label_says_whose_test_it_is_and_one_of_all_names_them_all(scene, draft, as_left):
    labels = {label.text: label for label in labels_of(day_of(scene.contractor, draft.visit.key))}
    tag = scene.proportioner.tag
    assert labels["minimum 1"].where.startswith(f"{tag}, as found")
    assert labels["minimum as left 1"].where.startswith(f"{tag}, as left")
    assert labels["water"].where.startswith(f"{tag}, as found; {tag}, as left")


def test_what_is_typed_in_of_both_tests_is_named_as_printed_and_taken(scene, draft, as_left, phone):
    """Samples of as left all came back as label_used."""
    sheet = Sheet(day_of(scene.contractor, draft.visit.key))
    offered = {
        run: [
            box.typed
            for part in sheet.parts()
            for line in part.lines
            if line.verb == "add_sample" and line.of["run"] == run
            for box in line.boxes
        ]
        for run in printed(sheet.day)
    }
    assert offered == printed(sheet.day)
    assert {len(texts) for texts in offered.values()} == {SAMPLES}
    for run, texts in offered.items():
        for text in texts:
            phone.say("add_sample", {"run": run}, {"label": text})
    assert Bottle.objects.filter(role="sample").count() == 4 * SAMPLES


def test_a_code_leads_to_the_bottle_of_its_own_test_and_never_to_anothers(
    scene, draft, as_left, phone, sign_in
):
    crew = sign_in(Client(), scene.contractor)
    found, left = stamped(scene, phone, draft, "minimum", 1) + stamped(
        scene, phone, as_left, "minimum", 1
    )
    for label in labels_of(day_of(scene.contractor, draft.visit.key)):
        if label.text not in (found, left):
            continue
        [(key, text)] = re.findall(r"#/b/([^/]+)/([^<]+?)<", label.qr)
        bottle = Bottle.objects.get(label=label.text)
        path = reverse("bottle_at", args=[key, unquote(text)])
        assert crew.get(path)["Location"].endswith(f"#bottle-{bottle.key}")
        assert key == str(bottle.run.test.key)
    # A label printed before the tests had names of their own.
    answer = crew.get(reverse("bottle_at", args=[as_left.key, found]), follow=True)
    said = answer.content.decode()
    assert "is a sample of" in said
    assert "as found, not of this test" in said
    assert answer.redirect_chain[-1][0] == reverse("bench", args=[as_left.key])


def test_a_long_name_leaves_room_for_what_tells_tests_apart(scene, draft, phone):
    point = at(draft, "minimum").flow_point
    point.name = "m" * 40
    point.save(by=scene.owner)
    left = prepare(scene, draft, scene.proportioner, "as_left")
    phone.say("start_test_day", {"visit": draft.visit.key}, {"reason": "r", "coordinator": "she"})
    run = left.runs.get(flow_point=point)
    bottle = discharge.add_sample(actor=scene.contractor, run=run, at=phone.now)
    assert bottle.label == f"{'m' * 26} as left 1"  # 40 characters hold it with a number of five
    assert bottle.label == printed(day_of(scene.contractor, draft.visit.key))[str(run.key)][0]


def test_paper_of_what_is_left_to_do_holds_no_bench_that_is_done(scene, draft, as_left, phone):
    """A bench without a draft was looked for a test that was not there: a 500."""
    other = preparing.open_bench(
        actor=scene.contractor, visit=draft.visit, tank=scene.tank, instrument=scene.instrument,
        water_source="w", glassware="g",
    )  # fmt: skip
    device = ProportionerFactory(system=scene.system, tank=scene.tank, tag="A-0")
    given_up = preparing.prepare_test(
        actor=scene.contractor, visit=draft.visit, proportioner=device, bench=other, at=MORNING,
        purpose="periodic",
    )  # fmt: skip
    abandon(actor=scene.contractor, key=given_up.key, reason="hose burst", at=phone.now)
    sheet = text_of(field_sheet(scene.contractor, draft.visit.key, size="a4"))
    assert sheet.count("5. Bench") == 1
    assert label_sheet(scene.contractor, draft.visit.key, size="a4")
