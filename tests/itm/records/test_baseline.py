"""A criterion that compares each flow point with its acceptance test, from choice to seal."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

import calc
from itm.core.errors import Refused
from itm.records import chain, preparing
from itm.records.baseline import baselines
from itm.records.evaluate import engine_input, preview
from itm.records.judging import OWN_LIMITS, form_at, judge
from itm.records.loading import whole
from itm.records.models import ProportioningTest
from itm.records.rule import frozen_rule
from itm.registry.services import change_system
from itm.reports import content_results as results
from itm.reports.curve import curve
from itm.trends.queries import series
from tests import deeds
from tests.conftest import Scene
from tests.factories import TODAY, ChangeOverFactory

ACCEPTED = {"minimum": 3.2, "design": 3.5}


@pytest.fixture
def compared(scene: Scene) -> Scene:
    """Accepted in 2025 at 3.2 and 3.5 %, and compared with that from then on."""
    scene.instrument.repeatability = Decimal("0.00001")
    scene.instrument.save(by=scene.contractor)
    choose(scene)
    deeds.tested(scene, ACCEPTED, on=date(2025, 6, 15), purpose="acceptance")
    return scene


def choose(scene: Scene, criterion: str = "baseline") -> None:
    change_system(actor=scene.owner, system=scene.system, criterion=criterion)
    scene.proportioner.refresh_from_db()


def limits(test: ProportioningTest) -> dict[str, tuple[Decimal | None, Decimal | None]]:
    return {run.flow_point.name: (run.band_lower, run.band_upper) for run in test.runs.all()}


def test_each_flow_point_has_ten_percent_about_its_own_acceptance(compared: Scene) -> None:
    """Within 10 % of the acceptance test at the same flow and not below 0.9 × nominal: check-values
    G-03, G-08. 0.9 and 1.1 times 3.2 and 3.5: 2.88 to 3.52, 3.15 to 3.85."""
    assert {name: one.percent for name, one in baselines(compared.proportioner).items()} == {
        "minimum": pytest.approx(Decimal("3.2"), abs=Decimal("0.01")),
        "design": pytest.approx(Decimal("3.5"), abs=Decimal("0.01")),
    }
    test = deeds.prepared(compared).test
    found = limits(test)
    for name, percent in ACCEPTED.items():
        lower, upper = found[name]
        assert lower == pytest.approx(Decimal(str(round(0.9 * percent, 4))), abs=Decimal("0.01"))
        assert upper == pytest.approx(Decimal(str(round(1.1 * percent, 4))), abs=Decimal("0.01"))
    assert (test.criterion, test.band_lower) == ("baseline", found["minimum"][0])
    assert test.band_upper == found["design"][1]
    run = test.runs.get(flow_point__name="design")
    assert run.baseline_source == "acceptance test of 15 Jun 2025, sealed record 1"


def test_a_result_is_judged_by_the_limits_of_its_own_flow_point(compared: Scene) -> None:
    """3.6 % is in band at design (to 3.85) and rich at minimum (to 3.52)."""
    test = deeds.tested(compared, {"minimum": 3.6, "design": 3.6}, until="draft")
    found = preview(test).result
    assert found is not None
    assert {p["name"]: p["limits"] for p in found["flow_points"]} == {
        "minimum": "rich", "design": "in band",
    }  # fmt: skip
    inputs = engine_input(whole(test.pk))
    for point in found["flow_points"]:  # the same as the engine alone says of it
        [alone] = [
            one.as_dict()
            for one in calc.evaluate(form_at(inputs, point["name"])).flow_points
            if one.name == point["name"]
        ]
        assert {k: v for k, v in point.items() if k != "band"} == alone
        assert point["band"] == inputs[OWN_LIMITS][point["name"]]
    assert {s["flow_point"]: s["limits"] for s in found["samples"]} == {
        "minimum": "rich", "design": "in band",
    }  # fmt: skip


def test_warnings_of_the_bench_stand_once_and_those_of_a_sample_with_its_own(
    compared: Scene,
) -> None:
    test = deeds.tested(compared, {"minimum": 4.4, "design": 3.5}, until="draft")
    inputs = engine_input(whole(test.pk))
    found = judge(inputs)
    places = [(w["code"], w["where"]) for w in found["warnings"]]
    assert len(places) == len(set(places))
    beyond = [where for code, where in places if code == "extrapolation"]
    index = [i for i, p in enumerate(found["flow_points"]) if p["name"] == "minimum"]
    assert f"$.flow_points[{index[0]}]" in beyond


def test_a_sealed_one_is_frozen_verifies_and_says_its_limits(compared: Scene) -> None:
    test = deeds.tested(compared, {"minimum": 3.3, "design": 3.6})
    data = bytes(test.seal.document)
    choose(compared, "common")
    deeds.tested(compared, {"minimum": 3.6, "design": 3.8}, on=date(2027, 6, 15),
                 purpose="acceptance")  # fmt: skip
    assert [*chain.verify()] == []
    assert bytes(test.seal.document) == data
    form = chain.parsed(test.seal)
    assert results.band_words(form) == "own for each flow point"
    rule = results.rule(form)[0]
    assert "At minimum 2.8" in rule
    assert "in the acceptance test of 15 Jun 2025, sealed record 1" in rule
    assert [answer.band != "" for answer in results.answers(form)] == [True, True]
    assert curve(form).band is None


def test_where_there_is_no_acceptance_test_it_says_so(scene: Scene) -> None:
    choose(scene)
    rule = frozen_rule(scene.proportioner, TODAY)
    assert rule.missing == ("minimum", "design")
    with pytest.raises(Refused) as refused:
        deeds.prepared(scene)
    assert (refused.value.code, refused.value.place) == ("baseline_missing", "purpose")
    assert "on record at “minimum”, “design”" in refused.value.sentence
    # The acceptance test itself has nothing to be compared with.
    test = deeds.prepared(scene, purpose="acceptance", on=date(2026, 6, 16)).test
    assert (test.criterion, test.band_lower) == ("common", Decimal("3"))
    assert limits(test) == {"minimum": (None, None), "design": (None, None)}


def test_only_what_was_proven_is_compared_with(scene: Scene) -> None:
    deeds.tested(scene, {"minimum": 3.3, "design": 2.4}, purpose="acceptance")
    choose(scene)
    assert set(baselines(scene.proportioner)) == {"minimum"}
    with pytest.raises(Refused, match="“design”"):
        deeds.prepared(scene, on=date(2027, 6, 15))
    [minimum, design] = scene.proportioner.flow_points.order_by("flow")
    day = deeds.prepared(scene, on=date(2027, 6, 16), flow_points=[minimum])
    assert set(limits(day.test)) == {"minimum"}
    with pytest.raises(Refused) as refused:
        preparing.add_run(actor=scene.contractor, test=day.test, flow_point=design)
    assert refused.value.code == "baseline_missing"


def test_a_flow_point_run_after_all_gets_its_limits_too(compared: Scene) -> None:
    [minimum, design] = compared.proportioner.flow_points.order_by("flow")
    day = deeds.prepared(compared, flow_points=[minimum])
    run = preparing.add_run(actor=compared.contractor, test=day.test, flow_point=design)
    assert run.band_lower is not None


def test_a_purpose_with_other_limits_needs_another_draft(compared: Scene) -> None:
    day = deeds.prepared(compared)
    with pytest.raises(Refused) as refused:
        preparing.change_test(actor=compared.contractor, test=day.test, purpose="acceptance")
    assert refused.value.code == "purpose_frozen"
    preparing.change_test(actor=compared.contractor, test=day.test, purpose="retest")


def test_a_baseline_too_far_from_nominal_leaves_no_band(scene: Scene) -> None:
    """Accepted under limits of its own at 2.4 %: 1.1 × 2.4 = 2.64 lies below 0.9 × 3 = 2.7."""
    change_system(
        actor=scene.owner, system=scene.system, criterion="custom",
        custom_lower=Decimal("2"), custom_upper=Decimal("3"),
    )  # fmt: skip
    scene.proportioner.refresh_from_db()
    deeds.tested(scene, {"minimum": 2.4, "design": 2.4}, purpose="acceptance")
    change_system(
        actor=scene.owner, system=scene.system, criterion="baseline", custom_lower=None,
        custom_upper=None,
    )  # fmt: skip
    scene.proportioner.refresh_from_db()
    with pytest.raises(Refused) as refused:
        deeds.prepared(scene, on=date(2027, 6, 15))
    assert refused.value.code == "baseline_too_far"


def test_trend_draws_each_point_in_its_own_band(compared: Scene) -> None:
    deeds.tested(compared, {"minimum": 3.3, "design": 3.6})
    found = series(compared.owner, compared.proportioner.key, deeds.datetime.now(deeds.UTC))
    bands = {one.name: one.points[-1].band for one in found.flow_points}
    assert bands["minimum"] == pytest.approx((2.88, 3.52), abs=0.01)
    assert bands["design"] == pytest.approx((3.15, 3.85), abs=0.01)


def test_pages_say_which_limits_hold_where(compared: Scene, client: Client, sign_in: Any) -> None:
    day = deeds.prepared(compared)
    page = sign_in(client, compared.contractor)
    new = reverse("test_new", args=[day.test.visit.key])
    text = page.get(new, {"proportioner": str(compared.proportioner.key)}).content.decode()
    assert "in the acceptance test of 15 Jun 2025, sealed record 1" in text
    shown = page.get(reverse("test_prepare", args=[day.test.key])).content.decode()
    assert "in the acceptance test of 15 Jun 2025, sealed record 1" in shown
    deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.3, "design": 3.6})
    assert page.get(reverse("bench", args=[day.test.key])).status_code == 200
    result = page.get(reverse("test", args=[day.test.key])).content.decode()
    assert "Its own limits: 2.8" in result
    deeds.hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    deeds.signed(day)
    report = page.get(reverse("report", args=[day.test.key])).content.decode()
    assert "own for each flow point" in report


def test_page_says_what_is_missing_before_the_form_is_filled_in(
    scene: Scene, client: Client, sign_in: Any
) -> None:
    day = deeds.prepared(scene)
    choose(scene)
    new = reverse("test_new", args=[day.test.visit.key])
    page = sign_in(client, scene.contractor)
    text = page.get(new, {"proportioner": str(scene.proportioner.key)}).content.decode()
    assert "Prepare an acceptance test first" in text
    assert "judged by the common rule" in text


def test_changeover_leaves_no_acceptance_to_compare_with(compared: Scene) -> None:
    """What was proved before was proved with another concentrate: common practice, no source."""
    assert set(baselines(compared.proportioner)) == set(ACCEPTED)
    ChangeOverFactory(tank=compared.tank, system=compared.system, changed_on=date(2025, 9, 1))
    assert baselines(compared.proportioner) == {}
    with pytest.raises(Refused):
        deeds.prepared(compared)
    deeds.tested(compared, ACCEPTED, on=date(2025, 9, 2), purpose="acceptance")
    assert set(baselines(compared.proportioner)) == set(ACCEPTED)
