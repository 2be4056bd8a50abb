"""The contractor's home: own drafts and visits, and where the next one is needed."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.models import Organisation
from itm.findings import impairing
from itm.records.models import Bottle, FlowRun, FlushStep, Reading
from itm.schedule.services import start_duties
from itm.trends import work
from tests.factories import (
    TODAY,
    FoamSystemFactory,
    GrantFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteFactory,
    actor_of,
)
from tests.itm.trends.kept import BY, kept, line, moved, visited

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def draft_of(scene, *, started: bool = True):
    visit = visited(scene.contractor, scene.proportioner, TODAY, started=started, restored=False)
    return kept(scene, on=TODAY, visit=visit, state="draft", handed_in_at=None)


def step(scene) -> str:
    back, rest, _ = work.drafts(scene.contractor)
    [draft] = [*back, *rest]
    return draft.step


def test_a_draft_is_listed_at_the_step_where_the_crew_stands(scene):
    test = draft_of(scene, started=False)
    assert step(scene) == ""
    test.visit.started_at = NOW
    test.visit.save(by=BY)
    run = FlowRun.objects.create(
        by=BY, test=test, flow_point=scene.proportioner.flow_points.first()
    )
    flush = FlushStep.objects.create(by=BY, test=test, position=1, text="Water shut")
    put_back = line(test.visit, scene.proportioner)
    assert step(scene) == "discharge"
    bottle = Bottle.objects.create(by=BY, bench=test.bench, run=run, role="sample", label="1")
    assert step(scene) == "flush"
    flush.done_at = NOW
    flush.save(by=BY)
    assert step(scene) == "restore"
    put_back.outcome, put_back.ended_at = "restored", NOW
    put_back.save(by=BY)
    assert step(scene) == "bench"
    reading = Reading.objects.create(
        by=BY, bottle=bottle, sequence=1, value_typed="1.3337", value="1.3337", read_at=NOW,
        read_by="A. Reader",
    )  # fmt: skip
    assert step(scene) == "result"
    reading.set_aside_reason, reading.set_aside_at = "bubble on the prism", NOW
    reading.save(by=BY)
    assert step(scene) == "bench"


def test_a_draft_sent_back_says_when_by_whom_and_why(scene):
    test = draft_of(scene)
    moved(test, "hand_in", TODAY - timedelta(days=2))
    moved(test, "send_back", TODAY - timedelta(days=1), "bottle 4 has no label")
    [back], rest, more = work.drafts(scene.contractor)
    assert (rest, more) == ([], False)
    assert (back.reason, back.sent_back_by) == ("bottle 4 has no label", "A. Reader")
    assert back.sent_back_on == "14 Jun 2026"


def test_visits_are_planned_then_running_then_gone(scene):
    visit = visited(scene.contractor, scene.proportioner, TODAY, started=False)
    assert [v.pk for v in work.planned_visits(scene.contractor).rows] == [visit.pk]
    visit.started_at = NOW
    visit.save(by=BY)
    impairing.follow(actor=BY, visit=visit, at=NOW)
    assert work.planned_visits(scene.contractor).rows == []
    [running] = work.running_visits(scene.contractor, NOW).rows
    assert running.still_open is False
    line(visit, scene.proportioner)
    assert work.running_visits(scene.contractor, NOW).rows[0].still_open is True
    visit.restored_at = NOW
    visit.save(by=BY)
    impairing.follow(actor=BY, visit=visit, at=NOW)
    assert work.running_visits(scene.contractor, NOW).rows == []


def test_what_is_handed_in_waits_until_it_is_signed(scene):
    waiting = kept(scene, {"design": 3.3}, on=TODAY, state="handed_in")
    kept(scene, {"design": 3.3}, on=date(2025, 6, 1))
    assert [test.pk for test in work.unsigned(scene.contractor, NOW).rows] == [waiting.pk]


def test_another_contractor_sees_none_of_it(scene):
    other = actor_of(OrganisationFactory(kind=Organisation.Kind.CONTRACTOR))
    GrantFactory(site=scene.site, organisation=other.organisation)
    draft_of(scene)
    kept(scene, {"design": 3.3}, on=TODAY, state="handed_in")
    assert work.drafts(scene.contractor)[1]
    assert work.drafts(other) == ([], [], False)
    assert work.running_visits(other, NOW).rows == []
    assert work.planned_visits(other).rows == work.unsigned(other, NOW).rows == []


@pytest.mark.parametrize("ends_on", [None, TODAY, TODAY - timedelta(days=1)])
def test_sites_with_something_due_are_listed_while_the_contractor_is_engaged(scene, ends_on):
    start_duties(actor=BY, proportioner=scene.proportioner, tank=scene.tank)
    grant = scene.site.grants.get()
    grant.ends_on = ends_on
    grant.save(by=BY)
    rows = work.sites_due(scene.contractor).object_list
    if ends_on == TODAY - timedelta(days=1):
        assert rows == []
        return
    [site] = rows
    assert (site.key, site.overdue, site.due, site.opened, site.checks) == (
        scene.site.key, 1, 0, 0, 1,
    )  # fmt: skip
    assert (site.latest_on, site.planned_on) == ("1 Jun 2019", "")


def test_a_planned_visit_stands_beside_the_site_it_goes_to(scene):
    start_duties(actor=BY, proportioner=scene.proportioner)
    visited(scene.contractor, scene.proportioner, date(2026, 7, 1), started=False)
    [site] = work.sites_due(scene.contractor).object_list
    assert site.planned_on == "1 Jul 2026"


def test_beyond_the_last_page_of_sites_stands_the_first(scene, monkeypatch):
    monkeypatch.setattr("itm.trends.stretch.PAGE", 2)
    for name in ("A", "B", "C"):
        site = SiteFactory(owner=scene.owner.organisation, name=name)
        GrantFactory(site=site, organisation=scene.contractor.organisation)
        start_duties(
            actor=BY, proportioner=ProportionerFactory(system=FoamSystemFactory(site=site))
        )
    names = [
        [site.name for site in work.sites_due(scene.contractor, page).object_list]
        for page in (1, 2, 3, "x")
    ]
    assert names == [["A", "B"], ["C"], ["A", "B"], ["A", "B"]]
    assert work.sites_due(scene.contractor, 1).has_next
    assert not work.sites_due(scene.contractor, 2).has_next


def test_the_home_costs_the_same_for_three_rows_and_for_three_hundred(scene):
    """Zones and page of sites; drafts with the five tables of their steps; running,
    planned and unsigned."""

    def fill(count: int) -> None:
        for _ in range(count):
            site = SiteFactory(owner=scene.owner.organisation)
            GrantFactory(site=site, organisation=scene.contractor.organisation)
            device = ProportionerFactory(system=FoamSystemFactory(site=site))
            start_duties(actor=BY, proportioner=device)
            visit = visited(scene.contractor, device, TODAY, restored=False)
            kept(scene, on=TODAY, visit=visit, state="draft", handed_in_at=None,
                 proportioner=device)  # fmt: skip

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            work.drafts(scene.contractor)
            work.running_visits(scene.contractor, NOW)
            work.planned_visits(scene.contractor)
            work.unsigned(scene.contractor, NOW)
            assert work.sites_due(scene.contractor).object_list
        return len(captured)

    fill(3)
    few = cost()
    fill(100)
    assert len(work.drafts(scene.contractor)[1]) == work.MOST
    assert work.drafts(scene.contractor)[2] is True
    assert cost() <= few <= 12
