"""A flow that is the sum of outlets read by pitot."""

import json
from typing import Any

import pytest

from calc.hydraulics import SMOOTH
from calc.units import FLOW
from itm.core.errors import Refused
from itm.core.quantities import Quantity, quantity
from itm.records import chain, discharge
from itm.records.merge import Crossed, shown
from itm.records.outlets import flow, listed
from itm.records.remarks import flow_remarks
from tests.deeds import prepared, tested

SMALL = "38 mm; 0.9; 2.1 bar"
LARGE = "2.5 in; 0.90; 30 psi"


def row_of(scene: Any) -> Any:
    return prepared(scene).test.runs.get(flow_point__name="design")


def note(scene: Any, run: Any, **entered: Any) -> Any:
    return discharge.note_run(actor=scene.contractor, run=run, **entered)


def test_the_flow_is_that_of_the_table_for_such_outlets():
    """NFPA 291: Q = 29.84 c d² √p gives 919.4 US gpm for one 2.5 in outlet, 0.90, at 30 psi."""
    one = 29.84 * SMOOTH * 2.5**2 * 30**0.5
    found = flow([LARGE, LARGE], unit="US gpm")
    assert found.si / FLOW["US gpm"] == pytest.approx(2 * one, rel=1e-9)
    assert found.typed == f"{2 * one:.0f} US gpm"
    assert flow([LARGE], unit="no unit").typed.endswith(" L/min")


def test_the_sum_stands_as_the_flow_and_names_its_source(scene):
    run = note(scene, row_of(scene), outlets=[SMALL, " ; ;", LARGE])
    assert run.outlets == [SMALL, LARGE]
    assert (run.flow_source, run.solution_flow_typed) == ("pitot", flow([SMALL, LARGE],
            unit="L/min").typed)  # fmt: skip
    again = note(scene, run, outlets=[LARGE])
    assert again.solution_flow_typed == flow([LARGE], unit="L/min").typed


def test_a_meter_and_outlets_are_not_both_the_flow(scene):
    run = note(scene, row_of(scene), outlets=[LARGE])
    metered = quantity("1900", "L/min", FLOW)
    with pytest.raises(Refused) as refused:
        note(scene, run, solution_flow=metered, flow_source="meter")
    assert (refused.value.code, refused.value.place) == ("flow_of_outlets", "solution_flow")
    with pytest.raises(Refused) as refused:
        note(scene, run, flow_source="meter")
    assert refused.value.place == "flow_source"
    run.refresh_from_db()
    assert run.flow_source == "pitot"
    freed = note(scene, run, outlets=[], solution_flow=metered, flow_source="meter")
    assert (freed.outlets, freed.solution_flow_typed) == ([], "1900 L/min")


@pytest.mark.parametrize(
    ("row", "code", "words"),
    [
        ("38 mm; 0.9;", "outlet_incomplete", "Outlet 1 is “38 mm; 0.9; ”"),
        ("38 mm; 0.9; 2.1 bar; 4", "outlet_incomplete", "such as 38 mm; 0.90; 2.1 bar"),
        ("38; 0.9; 2.1 bar", "unknown_unit", "diameter: write it with its unit"),
        ("thick mm; 0.9; 2.1 bar", "not_a_number", "Outlet 1, diameter"),
        ("38 mm; 9; 2.1 bar", "outlet_impossible", "coefficient"),
        ("38 mm; o.9; 2.1 bar", "not_a_number", "coefficient"),
        ("38 mm; 0.9; 0 bar", "outlet_impossible", "no pressure is no flow"),
        ("38 m; 0.9; 2.1 bar", "outlet_impossible", "diameter"),
    ],
)
def test_what_is_no_outlet_is_refused_with_its_number(row, code, words):
    with pytest.raises(Refused) as refused:
        listed([row])
    assert (refused.value.code, refused.value.place) == (code, "outlets")
    assert words in refused.value.sentence


def test_too_many_outlets_are_refused():
    with pytest.raises(Refused) as refused:
        listed([SMALL] * 41)
    assert refused.value.code == "too_many_outlets"


def test_two_people_at_the_same_outlets_are_a_conflict(scene):
    run = row_of(scene)
    opened = {"outlets": shown(run, "outlets")}
    note(scene, run, outlets=[SMALL], opened=opened)
    with pytest.raises(Crossed) as crossed:
        note(scene, run, outlets=[LARGE], opened=opened)
    assert "outlets" in crossed.value.places
    run.refresh_from_db()
    assert run.outlets == [SMALL]


def test_a_stream_too_weak_for_a_pitot_is_remarked(scene):
    run = note(scene, row_of(scene), outlets=["38 mm; 0.9; 0.5 bar", LARGE])
    assert any("below about 70 kPa" in words for words in flow_remarks(run))
    run = note(scene, run, outlets=[LARGE])
    assert not any("kPa" in words for words in flow_remarks(run))


def test_the_seal_and_the_report_hold_the_outlets(scene, monkeypatch):
    first = discharge.note_run

    def by_pitot(*, actor: Any, run: Any, solution_flow: Quantity, flow_source: str, **rest: Any):
        return first(actor=actor, run=run, outlets=[SMALL, LARGE], **rest)

    monkeypatch.setattr(discharge, "note_run", by_pitot)
    test = tested(scene)
    form = chain.parsed(test.seal)
    assert [run["outlets"] for run in form["runs"]] == [[SMALL, LARGE]] * 2
    assert json.dumps(form["rows"]["runs"]).count("2.5 in") == 2
    assert list(chain.verify()) == []
