"""What programs read of what is wrong: the same rows as the pages."""

from datetime import UTC, datetime
from typing import Any

import pytest

from itm.findings.deciding import note_by_hand
from itm.findings.impairing import open_by_hand
from itm.findings.models import Deficiency
from tests.deeds import tested
from tests.itm.api.conftest import refused

pytestmark = pytest.mark.django_db
AT = datetime(2026, 6, 15, 12, tzinfo=UTC)


def test_deficiencies_come_worst_first_with_their_life(scene: Any, program: Any) -> None:
    note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.tank, severity=3, words="A sign is gone",
        found_on=AT.date(), at=AT,
    )  # fmt: skip
    tested(scene, {"minimum": 2.0, "design": 3.4})
    for actor in (scene.owner, scene.contractor, scene.authority):
        answer = program(actor).read("/findings/")
        assert [row["severity"] for row in answer["results"]] == ["impairment", "noncritical"]
    row = Deficiency.objects.get(cause="lean")
    one = program(scene.authority).read(f"/findings/{row.key}/")
    assert one["what"] == row.words
    assert [line["verb"] for line in one["life"]] == ["opened"]
    assert program(scene.owner).read("/findings/?standing=closed")["results"] == []


def test_an_impairment_tells_its_systems(scene: Any, program: Any) -> None:
    row = open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=AT, at=AT,
    )  # fmt: skip
    [listed] = program(scene.authority).read("/impairments/")["results"]
    assert listed["key"] == str(row.key)
    assert [one["name"] for one in listed["systems"]] == [scene.system.name]
    assert program(scene.owner).read(f"/impairments/{row.key}/")["life"] == []


def test_another_standing_than_the_known_ones_is_refused(scene: Any, program: Any) -> None:
    refused(program(scene.owner).ask("get", "/findings/?standing=perhaps"), 400, "bad_query")
