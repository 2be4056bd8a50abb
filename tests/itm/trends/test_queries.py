"""The series of a proportioner: as found in the line, everything else beside it."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.models import Organisation
from itm.core.errors import NotFound
from itm.schedule.due import Result
from itm.schedule.services import refresh
from itm.trends.queries import devices, series
from tests.factories import ConcentrateLotFactory, OrganisationFactory, TankFillFactory, actor_of
from tests.itm.trends.kept import BY, kept, visited

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def of(scene, name: str = "design"):
    found = series(scene.authority, scene.proportioner.key, NOW)
    return next(one for one in found.flow_points if one.name == name)


def test_a_series_holds_each_flow_point_by_itself(scene):
    kept(scene, {"minimum": 3.1, "design": 3.4}, on=date(2024, 6, 1))
    kept(scene, {"minimum": 3.2, "design": 3.5}, on=date(2025, 6, 1))
    found = series(scene.authority, scene.proportioner.key, NOW)
    assert {one.name: [p.result.percent for p in one.points] for one in found.flow_points} == {
        "minimum": [3.1, 3.2],
        "design": [3.4, 3.5],
    }
    assert found.count == 2
    assert of(scene).points[0].result.interval == (3.4 - 0.2, 3.4 + 0.2)


def test_as_left_stands_apart_and_its_adjustment_is_an_event(scene):
    """Pitfall 47: the trend uses as found."""
    visit = visited(scene.contractor, scene.proportioner, date(2025, 6, 1))
    kept(scene, {"design": 2.8}, on=date(2025, 6, 1), visit=visit, limits="lean")
    kept(scene, {"design": 3.3}, on=date(2025, 6, 1), visit=visit, phase="as_left",
         adjusted="metering orifice renewed")  # fmt: skip
    one = of(scene)
    assert [p.result.percent for p in one.points] == [2.8]
    assert [p.result.percent for p in one.as_left] == [3.3]
    [event] = series(scene.authority, scene.proportioner.key, NOW).events
    assert (event.words, event.detail) == ("adjusted", "metering orifice renewed")


def test_a_corrected_record_is_out_of_the_line_and_listed(scene):
    bad = kept(scene, {"design": 4.4}, on=date(2025, 6, 1), limits="rich")
    new = kept(scene, {"design": 3.4}, on=date(2025, 6, 1), visit=bad.visit, amends=bad,
               amendment_reason="slip in a reading")  # fmt: skip
    one = of(scene)
    assert [p.record.key for p in one.points] == [new.key]
    [corrected] = one.corrected
    assert (corrected.record.key, corrected.record.corrected_by) == (bad.key, new.key)
    assert one.points[0].record.reason == "slip in a reading"


def test_a_draft_amendment_corrects_nothing_yet(scene):
    bad = kept(scene, {"design": 4.4}, on=date(2025, 6, 1), limits="rich")
    kept(scene, on=date(2025, 6, 1), visit=bad.visit, amends=bad, amendment_reason="slip",
         state="draft", handed_in_at=None)  # fmt: skip
    assert [p.record.key for p in of(scene).points] == [bad.key]


@pytest.mark.parametrize(
    ("limits", "certainty", "sets"),
    [("in band", "settled", True), ("in band", "undecided", False), ("rich", "settled", False)],
)
def test_only_a_passed_acceptance_test_sets_the_baseline(scene, limits, certainty, sets):
    kept(scene, {"design": 3.25}, on=date(2020, 6, 1), purpose="acceptance", limits=limits,
         certainty=certainty)  # fmt: skip
    kept(scene, {"design": 3.4}, on=date(2021, 6, 1))
    baseline = of(scene).baseline
    assert (baseline is not None) is sets
    if sets:
        assert baseline.result.percent == 3.25


def test_the_band_steps_where_the_criterion_changed(scene):
    kept(scene, {"design": 3.4}, on=date(2024, 6, 1))
    kept(scene, {"design": 3.4}, on=date(2025, 6, 1))
    kept(scene, {"design": 3.4}, on=date(2026, 6, 1), band_upper="3.6", criterion="custom")
    assert of(scene).bands == ((None, 3.0, 3.9), (date(2026, 6, 1), 3.0, 3.6))


def test_another_lot_in_the_tank_is_an_event_and_a_top_up_is_none(scene):
    """Pitfall 68: each change is a mark in the series."""
    lot = scene.tank.movements.get().lot
    TankFillFactory(tank=scene.tank, lot=lot, moved_on=date(2022, 3, 1))
    other = ConcentrateLotFactory(owner=scene.owner.organisation, batch="B-next")
    TankFillFactory(tank=scene.tank, lot=other, moved_on=date(2023, 3, 1))
    found = series(scene.authority, scene.proportioner.key, NOW)
    assert [(e.day, e.words) for e in found.events] == [(date(2023, 3, 1), "lot B-next")]


def test_missed_years_stay_to_be_seen(scene):
    """Pitfall 40. The scene's system was commissioned on 1 March 2018."""
    result = Result(date(2021, 3, 1), "in band", "settled", "periodic", "as_found", uuid4())
    refresh(actor=BY, proportioner=scene.proportioner, results=[result])
    now, before = series(scene.authority, scene.proportioner.key, NOW).cycles
    assert (before.days_missed, before.tests_missed) == (639, 2)
    assert now.duty.done_on is None


def test_drafts_and_hand_ins_are_no_points(scene):
    kept(scene, {"design": 3.3}, on=date(2026, 6, 1), state="handed_in")
    for actor in (scene.owner, scene.contractor, scene.authority):
        found = series(actor, scene.proportioner.key, NOW)
        assert (found.count, [one.points for one in found.flow_points]) == (0, [(), ()])


def test_a_foreign_proportioner_is_not_found(scene):
    stranger = actor_of(OrganisationFactory(kind=Organisation.Kind.AUTHORITY))
    assert series(scene.authority, scene.proportioner.key, NOW).proportioner == scene.proportioner
    with pytest.raises(NotFound):
        series(stranger, scene.proportioner.key, NOW)
    assert devices(stranger, NOW).paginator.count == 0
    assert devices(scene.authority, NOW).paginator.count == 1


def test_a_trend_of_thirty_years_costs_what_one_of_three_costs(scene):
    """Eight queries: device, older papers, records, fills, results, what happened, flow points and
    cycles; with session, person, membership and the count of news the twelve of the page."""

    def fill(years: range) -> None:
        for year in years:
            kept(scene, {"minimum": 3.1, "design": 3.4}, on=date(year, 6, 1))

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert series(scene.authority, scene.proportioner.key, NOW).count
        return len(captured)

    fill(range(2024, 2027))
    few = cost()
    fill(range(1994, 2024))
    assert len(of(scene).points) == 33
    assert cost() <= few <= 8
