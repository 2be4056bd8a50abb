"""Hints beside a result: common practice, no published source; an order, never a verdict."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from itm.records.as_it_stands import record_form
from itm.records.models import ProportioningTest
from itm.trends.where_to_look import SPEAKS, odd_samples, side_of, where_to_look, years_until
from tests import deeds
from tests.conftest import Scene
from tests.factories import OrganisationFactory, TankFillFactory, actor_of
from tests.factories import system as nobody
from tests.itm.trends.kept import kept

NOW = datetime(2026, 7, 1, tzinfo=UTC)
BAND = {"lower": 3.0, "upper": 3.9}


def looked(scene: Scene, test: ProportioningTest) -> Any:
    return where_to_look(scene.contractor, test, record_form(test)[0], NOW)


def test_a_test_in_its_band_is_given_no_causes(scene: Scene) -> None:
    assert looked(scene, deeds.tested(scene)) is None
    assert looked(scene, deeds.prepared(scene).test) is None  # nothing read yet


def test_lean_at_the_design_flow_puts_valve_and_strainer_first(scene: Scene) -> None:
    """As calc.hints orders them: both are named by the pattern “lean at the highest flow only”."""
    found = looked(scene, deeds.tested(scene, {"minimum": 3.3, "design": 2.4}))
    assert (found.sides, found.settled) == ("lean", True)
    assert "valve" in found.lines[0].cause
    assert found.lines[0].speaks == "lean at the highest flow only"
    assert {line.verdict for line in found.lines} == {"lean"}


def test_what_the_years_show_moves_its_causes_up(scene: Scene) -> None:
    """A step down where another lot went in, four results against five: enough for calc.trend."""
    for year in range(2017, 2022):
        kept(scene, {"design": 3.4 + year % 3 / 100}, on=date(year, 6, 1))
    for year in range(2022, 2025):
        kept(scene, {"design": 3.1 + year % 3 / 100}, on=date(year, 6, 1))
    test = deeds.tested(scene, {"minimum": 2.5, "design": 2.5})
    assert "another lot" not in " ".join(line.cause for line in looked(scene, test).lines)
    TankFillFactory(tank=scene.tank, moved_on=date(2021, 9, 1))
    [line] = [line for line in looked(scene, test).lines if "another lot" in line.cause]
    assert line.speaks == SPEAKS["step_after_fill"]
    stranger = years_until(actor_of(OrganisationFactory()), test, NOW)
    assert stranger == []


def test_an_undecided_result_says_that_settling_it_comes_first(scene: Scene) -> None:
    scene.authority.organisation.verdict_probability = 0.99  # type: ignore[union-attr]
    scene.authority.organisation.save(by=nobody(scene.owner.today))  # type: ignore[union-attr]
    found = looked(scene, deeds.tested(scene, {"minimum": 3.3, "design": 3.02}, until="handed_in"))
    assert (found.sides, found.settled) == ("lean", False)


@pytest.mark.parametrize(
    ("limits", "certainty", "interval", "side"),
    [
        ("lean", "undecided", [2.8, 3.1], "lean"),
        ("in band", "settled", [2.9, 3.2], "in band"),
        ("in band", "undecided", [2.9, 3.2], "lean"),
        ("in band", "undecided", [3.7, 4.0], "rich"),
        ("in band", "undecided", [2.9, 4.1], "rich"),
        ("in band", "undecided", [3.1, 3.8], "in band"),  # an open question, not a side
    ],
)
def test_an_undecided_point_leans_to_where_its_interval_reaches(
    limits: str, certainty: str, interval: list[float], side: str
) -> None:
    point = {"limits": limits, "certainty": certainty, "interval": interval}
    assert side_of(point, BAND) == side


def test_one_odd_sample_first_or_last_is_a_pattern_of_its_own() -> None:
    def caught(*limits: str) -> list[str]:
        return odd_samples([{"flow_point": "design", "limits": one} for one in limits])

    assert caught("lean", "in band", "in band") == ["first_sample_lean"]
    assert caught("in band", "in band", "lean") == ["last_sample_lean"]
    assert caught("in band", "lean", "in band") == []
    assert caught("lean", "lean") == []
    assert caught("lean") == []


def test_a_device_that_no_rule_knows_is_given_none(scene: Scene) -> None:
    test = deeds.tested(scene, {"minimum": 2.5, "design": 2.5})
    test.proportioner.kind = "vehicle"
    assert looked(scene, test) is None


def test_page_shows_the_list_with_its_caution_and_the_record_does_not(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    test = deeds.tested(scene, {"minimum": 3.3, "design": 2.4})
    text = sign_in(client, scene.owner).get(reverse("test", args=[test.key])).content.decode()
    part = text[text.index("Where to look") : text.index("How it is decided")]
    assert "Common practice, no published source" in part
    assert "prove zero pressure" in part
    assert part.count("<li>") >= 4
    assert b"concentrate valve is not" not in bytes(test.seal.document)
