"""Effluent to programs: lines, sums, and null where nobody noted any."""

from typing import Any

import pytest

from itm.records import effluent
from itm.records.models import EffluentLine
from tests.deeds import tested
from tests.factories import TODAY
from tests.itm.api.conftest import refused
from tests.itm.records.test_effluent import AT, litres, noted

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(scene: Any) -> Any:
    """4,000 L out, 3,500 L of it caught, 3,000 L of that hauled away; 250 L by itself."""
    row = tested(scene).visit
    noted(scene, "discharged", 4000, visit=row, pfas="contains", percent="3")
    noted(scene, "collected", 3500, visit=row, pfas="contains")
    noted(scene, "hauled", 3000, visit=row, pfas="contains", paper="W-2026-17")
    noted(scene, "released", 250, who="owner", place="gravel")
    return row


def test_lines_are_told_to_all_three_and_found_alone(scene: Any, visit: Any, program: Any) -> None:
    for actor in (scene.owner, scene.contractor, scene.authority):
        rows = program(actor).read("/effluent/")["results"]
        assert len(rows) == 4
        for row in rows:
            assert program(actor).read(f"/effluent/{row['key']}/") == row
    [hauled] = program(scene.owner).read("/effluent/?kind=hauled")["results"]
    assert hauled["volume"] == {"typed": "3000 L", "si": 3.0}
    assert (hauled["paper"], hauled["hauler"]) == ("W-2026-17", "A hauler")
    assert hauled["visit"] == str(visit.key)
    assert hauled["organisation"]["key"] == str(scene.contractor.organisation.key)
    [alone] = program(scene.owner).read("/effluent/?kind=released")["results"]
    assert (alone["visit"], alone["percent"]) == (None, None)


def test_the_difference_is_told_and_what_nobody_noted_is_null(
    scene: Any, visit: Any, program: Any
) -> None:
    """4 - 3.5 m³ came out and are nowhere; 3.5 - 3 m³ stand there still."""
    ours = program(scene.authority)
    told = ours.read(f"/visits/{visit.key}/effluent/")
    balance = told["balance"]
    assert (balance["discharged"], balance["released"]) == (4.0, None)
    assert balance["unaccounted"] == pytest.approx(0.5)
    assert balance["on_site"] == pytest.approx(0.5)
    assert balance["differences"][0].startswith("500 L of what was discharged is noted neither")
    assert len(told["lines"]) == 3
    assert told["at_least"]["runs"] == 2
    whole = ours.read(f"/sites/{scene.site.key}/effluent/")
    assert whole["balance"]["released"] == 0.25
    assert whole["balance"]["unaccounted"] == pytest.approx(0.25)
    assert {one["visit"] for one in whole["occasions"]} == {str(visit.key), None}
    none = ours.read(f"/sites/{scene.site.key}/effluent/?until=2020-01-01")
    assert none["balance"]["discharged"] is None
    assert none["occasions"] == []


def test_a_withdrawn_line_is_told_and_counts_for_nothing(
    scene: Any, visit: Any, program: Any
) -> None:
    line = EffluentLine.objects.get(kind="discharged")
    right = effluent.correct(
        actor=scene.contractor, line=line, because="read again", today=TODAY, at=AT,
        happened_on=TODAY, volume=litres(3500), pfas="contains",
    )  # fmt: skip
    ours = program(scene.owner)
    [gone] = ours.read("/effluent/?stands=withdrawn")["results"]
    assert (gone["withdrawn_because"], gone["replaced_by"]) == ("read again", str(right.key))
    [stands] = ours.read("/effluent/?stands=standing&kind=discharged")["results"]
    assert stands["replaces"] == str(line.key)
    assert ours.read(f"/visits/{visit.key}/effluent/")["balance"]["unaccounted"] == 0


def test_strangers_find_none_and_an_unknown_word_is_refused(
    scene: Any, visit: Any, program: Any
) -> None:
    from tests.factories import OrganisationFactory, actor_of

    stranger = program(actor_of(OrganisationFactory(kind="owner")))
    assert stranger.read("/effluent/")["results"] == []
    assert stranger.read(f"/effluent/?site={scene.site.key}")["results"] == []
    for path in (f"/sites/{scene.site.key}/effluent/", f"/visits/{visit.key}/effluent/"):
        assert stranger.ask("get", path).status_code == 404
    refused(program(scene.owner).ask("get", "/effluent/?colour=red"), 400, "bad_query")
