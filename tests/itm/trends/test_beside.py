"""Many proportioners side by side: who drifts, what those have alike, and what chance gives."""

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.schedule.models import Happening
from itm.trends import beside
from itm.trends.beside import Asked, groups, side_by_side
from itm.trends.queries import series
from tests.factories import (
    FoamSystemFactory,
    OrganisationFactory,
    ProportionerFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)
from tests.itm.trends.kept import BY, kept

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
FALLING = [3.80, 3.71, 3.63, 3.52, 3.46, 3.35]
LEVEL = [3.40, 3.52, 3.38, 3.47, 3.41, 3.49]


def years(scene, values, device=None, **facts):
    for year, value in zip(range(2026 - len(values), 2026), values, strict=True):
        more = {"proportioner": device} if device is not None else {}
        kept(scene, {"design": value}, on=date(year, 6, 1), **more, **facts)


@pytest.fixture
def second(scene):
    """A second proportioner at the same site, of another type."""
    site = scene.proportioner.system.site
    system = FoamSystemFactory(site=site, name="Zone two", commissioned_on=date(2000, 1, 1))
    return ProportionerFactory(system=system, tank=TankFactory(site=site), tag="PR-2",
                               kind="line_eductor")  # fmt: skip


def test_what_drifts_stands_before_what_does_not(scene, second):
    years(scene, LEVEL)
    years(scene, FALLING, second)
    found = side_by_side(scene.authority, Asked())
    assert [(row.proportioner.tag, row.statement) for row in found.rows] == [
        ("PR-2", "falling"),
        (scene.proportioner.tag, "not shown"),
    ]
    assert (found.judged, found.turning, found.beyond) == (2, 1, False)


def test_a_row_says_what_the_page_of_its_trend_says(scene):
    years(scene, FALLING)
    [row] = side_by_side(scene.authority, Asked()).rows
    [one] = [
        p for p in series(scene.authority, scene.proportioner.key, NOW).flow_points if p.points
    ]
    assert (row.latest.record.key, row.results) == (one.points[-1].record.key, len(FALLING))
    # Sen's slope of the six: the middle of the 15 pairwise slopes, worked out by hand.
    pairs = sorted(
        (FALLING[j] - FALLING[i]) / ((date(2020 + j, 6, 1) - date(2020 + i, 6, 1)).days / 365.25)
        for i in range(6) for j in range(i + 1, 6)
    )  # fmt: skip
    assert row.slope == pytest.approx(pairs[7], rel=1e-9)
    assert row.chance == pytest.approx(2 / 720)  # one order of 6! falls throughout, two-sided
    assert row.among_all == row.chance  # it is the only one


def test_chance_is_raised_by_how_many_were_looked_at(scene, second):
    """With six results that fall throughout, 2/720, and another series of chance p: the smaller of
    two is doubled (Benjamini and Hochberg 1995, by arithmetic)."""
    years(scene, FALLING)
    years(scene, LEVEL, second)
    first, other = side_by_side(scene.authority, Asked()).rows
    assert first.among_all == pytest.approx(2 * 2 / 720)
    assert first.stands_out
    assert other.among_all == pytest.approx(other.chance)
    assert not other.stands_out


def test_few_results_have_no_slope_and_come_last(scene, second):
    years(scene, [3.4, 3.5, 3.6], second)
    years(scene, LEVEL)
    rows = side_by_side(scene.authority, Asked()).rows
    assert [row.proportioner.tag for row in rows] == [scene.proportioner.tag, "PR-2"]
    assert (rows[1].statement, rows[1].slope, rows[1].chance) == ("too few results", None, None)


def test_pace_is_by_the_width_of_the_band(scene, second):
    """0.1 point a year is more in a band of 0.3 than in one of 0.9."""
    years(scene, [1.30, 1.27, 1.24, 1.21, 1.18, 1.15], band_lower=1, band_upper=1.3)
    years(scene, [3.80, 3.76, 3.72, 3.68, 3.64, 3.60], second)
    rows = side_by_side(scene.authority, Asked()).rows
    assert [row.proportioner.tag for row in rows] == [scene.proportioner.tag, "PR-2"]
    assert rows[0].pace == pytest.approx(0.03 / 0.3, rel=2e-3)  # years of 365.25 days
    assert rows[1].pace == pytest.approx(0.04 / 0.9, rel=2e-3)


@pytest.mark.parametrize(
    ("asked", "left"),
    [
        (Asked(), {"one", "two"}),
        (Asked(kind="line_eductor"), {"two"}),
        (Asked(age="20-"), {"two"}),
        (Asked(concentrate="ar_afff"), {"two"}),
        (Asked(find="no such site"), set()),
    ],
)
def test_each_choice_narrows(scene, second, asked, left):
    years(scene, LEVEL)
    years(scene, LEVEL, second)
    TankFillFactory(tank=second.tank, lot__kind="ar_afff", lot__owner=second.system.site.owner)
    names = {scene.proportioner.pk: "one", second.pk: "two"}
    found = side_by_side(scene.authority, asked).rows
    assert {names[row.proportioner.pk] for row in found} == left


def test_contractors_are_those_whose_latest_record_one_may_read(scene, second):
    years(scene, LEVEL)
    firm = scene.contractor.organisation
    assert beside.contractors(scene.authority) == [(str(firm.key), firm.name)]
    stranger = actor_of(OrganisationFactory(kind="contractor"))
    assert beside.contractors(stranger) == []
    [row] = side_by_side(scene.authority, Asked(contractor=str(firm.key))).rows
    assert row.contractor == firm.name


def test_groups_sum_up_what_their_rows_have(scene, second):
    years(scene, LEVEL)
    years(scene, FALLING, second)
    rows = side_by_side(scene.authority, Asked()).rows
    by_kind = {one.name: one for one in groups(rows, "kind")}
    fell = by_kind["Line eductor"]
    assert (fell.rows, fell.judged, fell.falling, fell.rising, fell.outside) == (1, 1, 1, 0, 0)
    assert fell.slope == next(row.slope for row in rows if row.proportioner.pk == second.pk)
    assert sum(one.rows for one in groups(rows, "contractor")) == 2


def test_another_jurisdiction_and_a_draft_are_not_compared(scene):
    years(scene, LEVEL, state="draft", handed_in_at=None)
    found = side_by_side(scene.authority, Asked())
    assert (found.rows, found.untested) == ((), 1)
    stranger = actor_of(OrganisationFactory(kind="authority"))
    assert side_by_side(stranger, Asked()).untested == 0


def test_queries_do_not_grow_with_devices_and_years(scene, second):
    def cost():
        with CaptureQueriesContext(connection) as captured:
            side_by_side(scene.authority, Asked())
        return len(captured)

    years(scene, LEVEL)
    few = cost()
    years(scene, FALLING, second)
    site = scene.proportioner.system.site
    for number in range(3, 8):
        system = FoamSystemFactory(site=site, name=f"Zone {number}")
        years(scene, LEVEL, ProportionerFactory(system=system, tank=TankFactory(site=site)))
    assert cost() == few <= 6


def test_more_than_are_compared_is_said(scene, second, monkeypatch):
    monkeypatch.setattr(beside, "MOST", 1)
    years(scene, LEVEL)
    years(scene, LEVEL, second)
    found = side_by_side(scene.authority, Asked())
    assert found.beyond
    assert len(found.rows) == 1


def test_repair_and_other_meter_are_told_and_only_the_repair_may_make_a_step(scene):
    years(scene, FALLING)
    Happening.objects.create(
        by=BY, site=scene.proportioner.system.site, system=scene.proportioner.system,
        kind="repair", happened_on=date(2023, 1, 10), words="metering orifice renewed",
    )  # fmt: skip
    found = series(scene.authority, scene.proportioner.key, NOW)
    [repair] = [event for event in found.events if event.words == "repair"]
    assert (repair.changes, repair.detail) == (True, "metering orifice renewed")
    [row] = side_by_side(scene.authority, Asked()).rows
    assert row.results == 3  # since the repair
