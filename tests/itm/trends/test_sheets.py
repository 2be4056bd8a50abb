"""What sheets gather costs the same for one site and for many, and is what the pages show."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.findings.deciding import note_by_hand
from itm.registry.finding import Wanted
from itm.schedule import sweep
from itm.schedule.models import Duty
from itm.trends.jurisdiction import jurisdiction, sites_table, standings, systems_table
from itm.trends.systems import STANDINGS, systems
from itm.trends.visit_day import days_of, visit_day
from tests.checks import checked
from tests.deeds import tested
from tests.factories import (
    TODAY,
    FoamSystemFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
)

NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)


def cost(work: Any) -> int:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        work()
    return len(queries)


def more_sites(scene: Any, count: int) -> None:
    from itm.records.duties import derive_site

    for _ in range(count):
        site = SiteFactory(owner=scene.owner.organisation)
        SiteAuthorityFactory(site=site, organisation=scene.authority.organisation)
        system = FoamSystemFactory(site=site, commissioned_on=date(2020, 1, 1))
        ProportionerFactory(system=system)
        derive_site(actor=scene.owner, site=site)
        note_by_hand(
            actor=scene.owner, site=site, thing=system, severity=3, words="A sign is gone",
            found_on=TODAY, at=NOW,
        )  # fmt: skip
    sweep.catch_up(NOW)


def test_a_jurisdiction_costs_the_same_for_one_site_and_for_seven(scene: Any) -> None:
    tested(scene, {"minimum": 2.0, "design": 3.4})
    more_sites(scene, 1)
    few = cost(lambda: jurisdiction(scene.authority, NOW))
    more_sites(scene, 5)
    found: list[Any] = []
    many = cost(lambda: found.append(jurisdiction(scene.authority, NOW)))
    assert many == few
    assert len(found[0].sites) == 7
    assert few <= 45  # counted: rows, counts and what hangs on them, of each of five kinds


def test_systems_stand_as_on_the_page(scene: Any) -> None:
    """Each standing of the list by itself holds as many as the sheet counts."""
    tested(scene, {"minimum": 2.0, "design": 3.4})
    more_sites(scene, 3)
    seen = jurisdiction(scene.authority, NOW)
    for name in STANDINGS:
        listed = systems(scene.authority, NOW, stands=name).object_list
        assert seen.standings[name] == len(listed), name
    assert seen.standings.total() == len(standings(scene.authority)) == 4
    assert seen.sites[0].site == scene.site  # lean stands before overdue
    overdue = Duty.objects.visible_to(scene.authority).filter(stands="overdue", done_on=None)
    assert seen.late_count == overdue.filter(withdrawn_on=None).count() > 0
    assert sum(line.overdue for line in seen.sites) == seen.late_count


def test_tables_hold_a_row_for_everything(scene: Any) -> None:
    more_sites(scene, 2)
    bare = SiteFactory(owner=scene.owner.organisation, name="=Bare")
    SiteAuthorityFactory(site=bare, organisation=scene.authority.organisation)
    FoamSystemFactory(site=bare)
    sites, rows = (table(scene.authority, NOW) for table in (sites_table, systems_table))
    assert len(sites) == 4
    assert len(rows) == 4
    assert len({len(row) for row in sites}) == 1
    assert len({len(row) for row in rows}) == 1


def test_a_visit_costs_the_same_for_one_record_and_for_five(scene: Any) -> None:
    test = tested(scene)
    checked(scene, on=test.visit.planned_on)
    few = cost(lambda: visit_day(scene.owner, test.visit.key, NOW))
    for _ in range(3):
        checked(scene, on=test.visit.planned_on, purpose="again")
    found: list[Any] = []
    many = cost(lambda: found.append(visit_day(scene.owner, test.visit.key, NOW)))
    assert many == few
    assert [one.seal.number for one in found[0].sealed] == [1, 2, 3, 4, 5]


def test_a_check_of_another_day_or_crew_is_none_of_the_visit(scene: Any) -> None:
    test = tested(scene)
    assert days_of(test.visit) == (test.visit.planned_on, test.visit.planned_on)
    checked(scene, on=test.visit.planned_on + timedelta(days=1))
    checked(scene, on=test.visit.planned_on, by=scene.owner)
    assert visit_day(scene.owner, test.visit.key, NOW).checks == ()


@pytest.mark.parametrize("who", ["owner", "contractor", "authority"])
def test_a_draft_shows_to_its_crew_alone(scene: Any, who: str) -> None:
    draft = tested(scene, until="draft")
    seen = visit_day(getattr(scene, who), draft.visit.key, NOW)
    assert len(seen.unfinished) == (1 if who == "contractor" else 0)
    assert all(not line.flow_points for line in seen.tests)


def test_the_lists_that_are_asked_are_those_of_the_pages(scene: Any) -> None:
    """The sheet reads through the same queries, so a list narrowed to what is open has as many."""
    from itm.findings import queries

    tested(scene, {"minimum": 2.0, "design": 3.4})
    more_sites(scene, 2)
    seen = jurisdiction(scene.authority, NOW)
    open_ones = queries.deficiencies(scene.authority, Wanted(narrow={"stands": "open"}))
    assert [one.row.pk for one in seen.wrong] == [row.pk for row in open_ones]
    assert seen.totals.open == open_ones.count()
