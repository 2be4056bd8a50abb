"""Percent of the solution and strength of the concentrate, each by itself; all of it invented."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from itm.records import bench as benches
from itm.records.models import Bottle
from itm.reports import content_statements as statements
from itm.reports.content_statements import CAUTION, two_statements
from itm.reports.render import page_context
from tests import deeds
from tests.conftest import Scene
from tests.itm.reports import sample


def told(undiluted: str | None = "1.36408", **more: Any) -> statements.TwoStatements:
    form = sample.document(**more)
    form["evaluation"]["result"]["mixing"] = mixing(undiluted)
    found = two_statements(form)
    assert found is not None
    return found


def mixing(undiluted: str | None) -> Any:
    """As the engine says it of the sample's bench with another undiluted concentrate."""
    if undiluted is None:
        return None
    bench = tuple(
        (*row[:5], ((undiluted, "20.1"),)) if row[0] == "concentrate" else row
        for row in sample.BENCH
    )
    return sample.document(bench=bench)["evaluation"]["result"]["mixing"]


def test_both_statements_are_made_where_they_agree() -> None:
    """1.33301 to 1.36408 is 3.107e-4 a percent by the mixing rule; the sample's standards were
    written down from nearly that."""
    found = told()
    assert "By the standards the proportioner mixes in" in found.solution
    assert "% at minimum" in found.solution
    assert found.concentrate[0].startswith("The undiluted concentrate agrees with the standards:")
    assert "a smaller difference would not show" in found.concentrate[0]
    assert "one diluted tank agree with each other as well" in found.concentrate[1]
    assert (found.by_mixing, found.caution) == ((), "")


def test_a_weaker_bottle_tells_what_is_left_in_the_tank() -> None:
    """Nine tenths of the way from water to concentrate: 1.33301 + 0.9 × 0.03107 = 1.36097."""
    found = told("1.36097")
    assert "is weaker than the standards say" in found.concentrate[0]
    left = re.search(r"(\d+) % of what is in the tank is concentrate still", found.concentrate[1])
    assert left is not None
    assert abs(int(left[1]) - 90) <= 4
    assert found.caution == CAUTION
    assert [one.name for one in found.by_mixing] == ["minimum", "design"]
    assert all(float(one.percent) > float(one.by_standards) for one in found.by_mixing)


def test_a_stronger_bottle_says_nothing_against_the_tank() -> None:
    found = told("1.37029")
    assert "is stronger than the standards say" in found.concentrate[0]
    assert "liquid left in the pipette" in found.concentrate[1]
    assert "nothing against the tank" in found.concentrate[1]
    assert found.caution == CAUTION


def test_a_flow_point_that_changes_sides_is_named() -> None:
    form = sample.document()
    found = mixing("1.35350")
    assert any(point["reverses"] for point in found["flow_points"])
    form["evaluation"]["result"]["mixing"] = found
    said = two_statements(form)
    assert said is not None
    notes = {one.name: one.note for one in said.by_mixing}
    assert notes == {
        point["name"]: "the answer hangs on which of the two is right" if point["reverses"] else ""
        for point in found["flow_points"]
    }


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("unread", "no undiluted concentrate was read"),
        ("conductivity", "conductivity does not rise in a straight line"),
        ("like water", "reads like the water or beyond the scale"),
    ],
)
def test_why_nothing_is_stated_is_said(change: str, words: str) -> None:
    form = sample.document()
    form["evaluation"]["result"]["mixing"] = None
    if change == "unread":
        form["bench"]["bottles"] = [
            b for b in form["bench"]["bottles"] if b["role"] != statements.CONCENTRATE
        ]
    if change == "conductivity":
        form["bench"]["method"] = "conductivity"
    found = two_statements(form)
    assert found is not None
    assert words in found.concentrate[0]


def test_a_record_of_an_engine_that_did_not_look_says_neither() -> None:
    form = sample.document()
    form["evaluation"]["result"].pop("mixing", None)
    assert two_statements(form) is None
    page = render_to_string("report/report.html", page_context(sample.paper_of(form), styles=[]))
    assert "Two statements" not in page


def test_page_and_report_say_the_same_with_the_caution(
    client: Client, scene: Scene, sign_in: Any
) -> None:
    scene.instrument.repeatability = Decimal("0.00002")
    scene.instrument.save(by=scene.contractor)
    day = deeds.prepared(scene)
    deeds.read(deeds.restored(deeds.discharged(day)), {"minimum": 3.2, "design": 3.4})
    thick = Bottle.objects.get(bench=day.test.bench, role=Bottle.Role.CONCENTRATE)
    [first] = thick.readings.all()
    benches.set_aside(actor=day.actor, reading=first, reason="other drum", at=day.tick())
    benches.add_reading(
        actor=day.actor, bottle=thick, value_typed="1.35080", temperature_typed="20.0",
        at=day.tick(),
    )  # fmt: skip
    deeds.hand_in(actor=day.actor, key=day.test.key, at=day.tick(minutes=5))
    deeds.signed(day)
    page = sign_in(client, scene.owner)
    for name in ("test", "report"):
        text = page.get(reverse(name, args=[day.test.key])).content.decode()
        assert "Strength of the concentrate:" in text
        # (1.3508 - 1.3330)/(1.3530 - 1.3330) = 0.89 of the concentrate is left: arithmetic.
        assert "89 % of what is in the tank is concentrate still" in text
        assert CAUTION in text
