"""Figures of a flow point that no system gives are refused, and those that are more often a slip
are said on page, device and record.

Bounds are our own choice; the slips are pitfalls 30, 32 and 53.
"""

import pytest

from itm.records.circumstances import circumstances
from itm.records.loading import whole
from itm.records.models import FlowRun
from tests.doors.phone import run_of, started


def noted(phone, draft, **put):
    return phone.say("note_run", {"run": run_of(draft).key}, put)


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("solution_flow", "80000000 L/min"), ("inlet_pressure", "9999 bar"),
        ("level_before", "1000000 m³"), ("level_after", "1000000 m³"),
    ],
)  # fmt: skip
def test_what_no_system_gives_is_refused_at_its_field(draft, phone, name, typed):
    started(phone, draft)
    answer = noted(phone, draft, **{name: typed, "flow_source": "meter"})
    assert (answer.code, answer.place) == ("impossible", name)
    assert "unit" in answer.sentence


@pytest.mark.parametrize(
    ("put", "said"),
    [
        ({"solution_flow": "190 L/min"}, "0.1 times the 1900 L/min"),
        ({"solution_flow": "600 L/min"}, "two flow points swapped"),
        ({"inlet_pressure": "72 bar"}, "more than 20 bar"),
        ({"inlet_pressure": "0.72 bar"}, "less than 1 bar"),
        ({"level_before": "900 L", "level_after": "950 L"}, "swapped"),
        ({"level_before": "90 m³"}, "more than the tank can hold"),
    ],
)
def test_a_likely_slip_is_said_and_kept_in_the_record(draft, phone, put, said):
    started(phone, draft)
    assert noted(phone, draft, **put, flow_source="meter").taken
    run = FlowRun.objects.get(pk=run_of(draft).pk)
    assert any(said in one.text for one in circumstances(whole(draft.pk))), run


def test_usual_figures_are_not_spoken_of(draft, phone):
    started(phone, draft)
    usual = {"solution_flow": "1850 L/min", "inlet_pressure": "7.2 bar", "level_before": "900 L",
             "level_after": "850 L", "flow_source": "meter"}  # fmt: skip
    assert noted(phone, draft, **usual).taken
    assert circumstances(whole(draft.pk)) == []
