"""The criterion and the decision rule are frozen by value, and later choices move no test."""

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from calc.canonical import canonical_bytes
from itm.core.errors import Refused
from itm.records import chain
from itm.records.document import document
from itm.records.evaluate import engine_input
from itm.records.kinds import KINDS
from itm.records.loading import whole
from itm.records.models import ProportioningTest, Seal
from itm.records.rule import chance_of_lean, frozen_words, left_by_lean
from itm.registry.services import change_system
from itm.reports import content_results as results
from itm.reports.content import paper
from tests.conftest import Scene
from tests.deeds import prepared, tested
from tests.direct_deeds import measured_test
from tests.factories import TODAY, system

FORMS = Path(__file__).parents[3] / "fixtures" / "frozen" / "records"
FORM_1, FORM_2, FORM_3, FORM_4 = (FORMS / f"form_{number}.json" for number in (1, 2, 3, 4))


def frozen(test: ProportioningTest) -> tuple[Any, ...]:
    row = ProportioningTest.objects.get(pk=test.pk)
    return (
        row.criterion, row.criterion_title, row.criterion_source, row.criterion_edition,
        row.criterion_confidence, row.band_lower, row.band_upper, row.lean_probability,
    )  # fmt: skip


def strict(scene: Scene, lean: float | None) -> None:
    fire = scene.authority.organisation
    assert fire is not None
    fire.lean_probability = lean
    fire.save(by=system(TODAY))


def test_a_named_criterion_is_frozen_with_its_words(scene: Scene) -> None:
    """Ships: 2.7 to 3.9 % for 3 %, check-values G-04 (IMO MSC.1/Circ.1432, annex 9.2.4)."""
    change_system(actor=scene.owner, system=scene.system, criterion="marine")
    scene.proportioner.refresh_from_db()
    strict(scene, 0.95)
    test = prepared(scene).test
    was = frozen(test)
    assert was[0] == "marine"
    assert was[1].startswith("Ships")
    assert "Circ.1432" in was[2]
    assert was[3] == "MSC.1/Circ.1432 (2012)"
    assert was[4] == "looked up"
    assert was[5:] == (Decimal("2.7"), Decimal("3.9"), 0.95)
    strict(scene, None)
    change_system(actor=scene.owner, system=scene.system, criterion="common")
    assert frozen(test) == was
    form = engine_input(whole(test.pk))
    assert form["criterion"] == {"lower": 2.7, "upper": 3.9}
    assert form["lean_probability"] == 0.95


def test_a_choice_made_later_moves_no_sealed_test(scene: Scene) -> None:
    test = tested(scene)
    data = bytes(Seal.objects.get().document)
    change_system(actor=scene.owner, system=scene.system, criterion="marine")
    strict(scene, 0.99)
    assert [*chain.verify()] == []
    assert bytes(test.seal.document) == data
    scene.proportioner.refresh_from_db()
    again = tested(scene, on=date(2027, 6, 15))
    assert (again.band_lower, test.band_lower) == (Decimal("2.7"), Decimal("3"))


def test_a_criterion_without_the_percent_is_refused_at_prepare(scene: Scene) -> None:
    change_system(actor=scene.owner, system=scene.system, criterion="european")
    scene.proportioner.refresh_from_db()
    scene.proportioner.nominal_percent = Decimal("2")
    scene.proportioner.save(by=system(TODAY))
    with pytest.raises(Refused) as refused:
        prepared(scene)
    assert refused.value.code == "nominal_not_named"


def test_report_names_criterion_and_how_sure_that_is(scene: Scene) -> None:
    strict(scene, 0.95)
    form = chain.parsed(tested(scene).seal)
    rule = " ".join(results.rule(form))
    assert form["form"] == 5
    assert "Fixed systems: from nominal to 1.3 × nominal, at most 1 point above; " in rule
    assert "for this test 3.0 to 3.9" in rule
    assert "NFPA 11 (2021 numbering); looked up, second-hand" in rule
    assert "at least 95 of 100 that it is not lean" in rule


def test_doubt_about_lean_alone_leaves_a_result_undecided_and_is_named() -> None:
    """Against scipy: 3.0 lies one standard deviation below 3.1, and the standard deviation of
    Student's t with 20 degrees of freedom is sqrt(20/18) of its scale."""
    expected = stats.t.cdf(-1 * (20 / 18) ** 0.5, 20)
    point = {
        "percent": 3.1, "standard_uncertainty": 0.1, "degrees_of_freedom": 20,
        "limits": "in band", "certainty": "undecided", "probability_of_limits": 0.83,
    }  # fmt: skip
    band = {"lower": "3.0", "upper": "3.9"}
    assert chance_of_lean(point, band) == pytest.approx(expected, rel=1e-6)
    assert left_by_lean(point, band, 0.95)
    assert not left_by_lean(point, band, 0.8)
    assert not left_by_lean({**point, "limits": "lean"}, band, 0.95)
    test = {"band": band, "verdict_probability": 0.75, "lean_probability": 0.95}
    assert "not lean with only 8" in results._why(point, test)


# Old canonical forms ----------------------------------------------------------------------------


def test_a_record_in_form_1_reads_as_it_did() -> None:
    """Written by the product before form 2; invented data."""
    form = json.loads(FORM_1.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (1, FORM_1.read_bytes())
    sheet = paper(form, digest="0" * 64, verify_url="https://example.invalid/")
    assert sheet.rule[0] == (
        "From nominal to the lower of 1.3 × nominal and nominal + 1 point: 3.0 to 3.9\u00a0%."
    )
    assert [answer.percent for answer in sheet.answers] == ["3.20", "3.40"]
    form["test"] |= {"criterion": "custom", "criterion_source": "Listing"}
    assert results.rule(form)[0].startswith("Limits set for this system: 3.0 to 3.9")


def test_a_record_in_form_2_reads_as_it_did() -> None:
    """Written by the product before form 3; invented data."""
    form = json.loads(FORM_2.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (2, FORM_2.read_bytes())
    sheet = paper(form, digest="0" * 64, verify_url="https://example.invalid/")
    assert [(run.measured, run.outlets) for run in sheet.runs] == [
        ("600 L/min, flow meter", ""),
        ("1900 L/min, flow meter", ""),
    ]


def test_a_record_in_form_3_reads_as_it_did() -> None:
    """Written by the product before form 4; invented data. A bench was the only method."""
    form = json.loads(FORM_3.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (3, FORM_3.read_bytes())
    sheet = paper(form, digest="0" * 64, verify_url="https://example.invalid/")
    assert (sheet.direct, [answer.percent for answer in sheet.answers]) == (None, ["3.20", "3.40"])
    assert sheet.figure is not None


def test_a_record_in_form_4_reads_as_it_did() -> None:
    """Written by the product before form 5; invented data. Nothing was weighed yet."""
    form = json.loads(FORM_4.read_bytes())
    assert (form["form"], canonical_bytes(form)) == (4, FORM_4.read_bytes())
    assert "weighing" not in form["direct"]
    sheet = paper(form, digest="0" * 64, verify_url="https://example.invalid/")
    assert [answer.percent for answer in sheet.answers] == ["3.200", "3.400"]
    assert sheet.direct is not None
    [minimum, _] = sheet.direct.points
    assert [line.what for line in minimum.lines] == [
        "Flow of solution", "Level before", "Level after", "Time between",
    ]  # fmt: skip


def test_a_draft_from_before_the_titles_is_named_as_then(scene: Scene) -> None:
    test = prepared(scene).test
    test.criterion_title = ""
    test.save(by=system(TODAY))
    assert frozen_words(test).title.startswith("From nominal to the lower of 1.3 × nominal")
    form = json.loads(FORM_1.read_bytes())
    form["test"]["criterion_title"] = ""
    assert results.rule(form)[0].startswith("From nominal to the lower of 1.3 × nominal and")


def test_a_record_sealed_in_form_1_still_verifies(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Columns that came later stand in no old row, and their absence is no finding."""
    later = {
        "criterion_title", "criterion_edition", "criterion_confidence", "lean_probability",
        "method",
    }  # fmt: skip

    def as_then(*args: Any) -> dict[str, Any]:
        form = document(*args) | {"form": 1}
        for part in (form["test"], *form["rows"]["test"]):
            for name in later:
                del part[name]
        return form

    now = KINDS[ProportioningTest]
    monkeypatch.setitem(KINDS, ProportioningTest, replace(now, form=1, document=as_then))
    tested(scene)
    monkeypatch.undo()
    assert Seal.objects.get().form == 1
    assert [*chain.verify()] == []
    tested(scene, on=date(2027, 6, 15))
    assert [*Seal.objects.order_by("number").values_list("form", flat=True)] == [1, 5]
    assert [*chain.verify()] == []


def test_a_direct_record_sealed_in_form_4_still_verifies(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As above, of what weighs: neither the columns nor their part of the document were there."""
    later = ("scale", "density", "mass")

    def as_then(*args: Any) -> dict[str, Any]:
        form = document(*args) | {"form": 4}
        del form["direct"]["weighing"]
        parts = [*form["rows"]["direct"], *form["rows"]["direct_runs"], *form["direct"]["runs"]]
        for part in parts:
            for name in [one for one in part if one.startswith(later)]:
                del part[name]
        return form

    now = KINDS[ProportioningTest]
    monkeypatch.setitem(KINDS, ProportioningTest, replace(now, form=4, document=as_then))
    test = measured_test(scene, "draw_down")
    monkeypatch.undo()
    assert Seal.objects.get().form == 4
    assert not any(one.startswith("mass") for one in chain.parsed(test.seal)["direct"]["runs"][0])
    assert [*chain.verify()] == []
