"""The owner's list: what is on it, in which order, for whom, at which cost."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.models import Organisation
from itm.core import history
from itm.findings import impairing
from itm.registry.models import Site
from itm.schedule import queries
from itm.schedule.due import Result
from itm.schedule.models import Duty
from itm.schedule.services import refresh, start_duties
from itm.schedule.standing import restand_site, stand
from itm.trends.next_things import kinds_of, next_things, standings
from tests.factories import (
    TODAY,
    FoamSystemFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
    actor_of,
)
from tests.itm.trends.kept import BY, kept, line, moved, visited

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def kinds(scene, **asked) -> list[str]:
    return [thing.kind for thing in next_things(scene.owner, NOW, **asked).object_list]


def begun(scene, on: date):
    """The scene's device with one test of this day behind it."""
    scene.system.commissioned_on = on - timedelta(days=365)
    scene.proportioner.system = scene.system
    test = kept(scene, {"design": 3.4}, on=on)
    result = Result(on, test.limits, test.certainty, test.purpose, test.phase, test.key)
    refresh(actor=BY, proportioner=scene.proportioner, results=[result])


@pytest.mark.parametrize(
    ("tested", "kind"),
    [
        (date(2026, 1, 1), None),
        (date(2025, 9, 15), "open"),
        (date(2025, 6, 15), "due"),
        (date(2025, 3, 14), "overdue"),
    ],
)
def test_a_duty_is_listed_from_its_window_on(scene, tested, kind):
    begun(scene, tested)
    assert kinds(scene) == ([kind] if kind else [])


def test_today_is_the_date_of_the_site_and_not_of_the_server(scene):
    """Pitfall 43: on the last evening of the window it is already tomorrow further east."""
    begun(scene, date(2025, 3, 15))  # latest day: 15 June 2026
    evening = datetime(2026, 6, 15, 20, tzinfo=UTC)
    assert [t.kind for t in next_things(scene.owner, evening).object_list] == ["due"]
    scene.site.time_zone = "Pacific/Auckland"
    scene.site.save(by=BY)
    [thing] = next_things(scene.owner, evening).object_list
    assert (thing.kind, thing.how_long) == ("overdue", "1 day late")


@pytest.mark.parametrize(
    ("limits", "certainty", "kind"),
    [
        ("lean", "settled", "lean"),
        ("rich", "undecided", "rich"),
        ("in band", "undecided", "undecided"),
    ],
)
def test_a_latest_result_that_does_not_prove_is_listed(scene, limits, certainty, kind):
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits=limits, certainty=certainty)
    [thing] = next_things(scene.owner, NOW).object_list
    assert (thing.kind, thing.limits, thing.certainty) == (kind, limits, certainty)
    assert thing.page == "test"
    assert "% at design" in thing.detail


def test_a_later_proof_takes_a_bad_result_off_the_list(scene):
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    kept(scene, {"design": 3.2}, on=date(2026, 5, 20))
    assert kinds(scene) == []


def test_as_left_of_the_same_day_is_the_latest_whichever_was_sealed_first(scene):
    visit = visited(scene.contractor, scene.proportioner, date(2026, 5, 1))
    kept(scene, {"design": 3.2}, on=date(2026, 5, 1), visit=visit, phase="as_left")
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), visit=visit, limits="lean")
    assert kinds(scene) == []


def test_a_corrected_result_no_longer_counts(scene):
    bad = kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    assert kinds(scene) == ["lean"]
    kept(scene, {"design": 3.1}, on=date(2026, 5, 1), visit=bad.visit, amends=bad,
         amendment_reason="misread label")  # fmt: skip
    assert kinds(scene) == []


def test_a_bad_hand_in_is_listed_before_it_is_signed(scene):
    kept(scene, {"design": 2.9}, on=date(2026, 6, 10), limits="lean", state="handed_in")
    [thing] = next_things(scene.owner, NOW).object_list
    assert "not signed yet" in thing.how_long
    assert thing.who == scene.contractor.organisation_name


def test_an_open_retest_stands_on_the_line_of_its_result_only(scene):
    test = kept(scene, {"design": 2.9}, on=TODAY, limits="lean")
    result = Result(TODAY, "lean", "settled", "periodic", "as_found", test.key)
    refresh(actor=BY, proportioner=scene.proportioner, results=[result])
    [thing] = next_things(scene.owner, NOW).object_list
    assert thing.how_long.endswith("retest: 30 days left")


def test_an_impairment_is_listed_with_its_hours_until_everything_is_back(scene):
    visit = visited(scene.contractor, scene.proportioner, TODAY, restored=False)
    line(visit, scene.proportioner, outcome="left_out", ended_at=NOW, reason="part on order",
         handed_to="site manager", handed_at=NOW)  # fmt: skip
    [thing] = next_things(scene.owner, NOW + timedelta(hours=27)).object_list
    assert (thing.kind, thing.how_long, thing.who) == ("impairment", "27 hours", "duty engineer")
    assert "part on order" in thing.detail
    assert thing.where == scene.system.name
    visit.restored_at = NOW
    visit.save(by=BY)
    impairing.follow(actor=BY, visit=visit, at=NOW)
    assert kinds(scene) == []


def test_a_result_sent_back_shows_its_reason_and_not_the_draft(scene):
    test = kept(scene, on=date(2026, 6, 1), state="draft", handed_in_at=None)
    moved(test, "hand_in", date(2026, 6, 2))
    moved(test, "send_back", date(2026, 6, 3), "bottle 4 has no label")
    [thing] = next_things(scene.owner, NOW).object_list
    assert (thing.kind, thing.detail) == ("sent_back", "bottle 4 has no label")
    assert (thing.page, thing.key) == ("visit", test.visit.key)
    moved(test, "hand_in", date(2026, 6, 4))
    assert kinds(scene) == []


def test_the_list_is_worst_first(scene):
    late = ProportionerFactory(system=scene.system, tank=scene.tank)
    start_duties(actor=BY, proportioner=late)
    kept(scene, {"design": 3.4}, on=date(2026, 5, 1), certainty="undecided")
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean", proportioner=late)
    visited(scene.contractor, scene.proportioner, TODAY, restored=False)
    back = ProportionerFactory(system=scene.system, tank=scene.tank)
    draft = kept(scene, on=TODAY, state="draft", handed_in_at=None, proportioner=back)
    moved(draft, "send_back", TODAY)
    assert kinds(scene) == ["impairment", "lean", "undecided", "overdue", "sent_back"]


def test_the_list_is_narrowed_by_kind_and_by_site(scene):
    start_duties(actor=BY, proportioner=scene.proportioner)
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    assert kinds(scene, kind="overdue") == ["overdue"]
    assert kinds(scene, kind="result") == ["lean"]
    assert kinds(scene, kind="no such kind") == ["lean", "overdue"]
    assert kinds(scene, site=scene.site.name.upper()) == ["lean", "overdue"]
    assert kinds(scene, site="elsewhere") == []


@pytest.mark.parametrize("what", ["proportioner", "system", "site"])
def test_retired_equipment_is_not_listed(scene, what):
    start_duties(actor=BY, proportioner=scene.proportioner)
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    assert len(kinds(scene)) == 2
    row = getattr(scene, what)
    row.retired_on = TODAY
    row.save(by=BY)
    restand_site(actor=BY, site=scene.site)
    assert kinds(scene) == []


def test_a_withdrawn_duty_is_not_listed(scene):
    start_duties(actor=BY, proportioner=scene.proportioner)
    duty = Duty.objects.get()
    duty.withdrawn_on = TODAY
    stand(duty, TODAY)
    duty.save(by=BY)
    assert kinds(scene) == []


def test_another_owner_sees_nothing_of_it(scene):
    start_duties(actor=BY, proportioner=scene.proportioner)
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    stranger = actor_of(OrganisationFactory(kind=Organisation.Kind.OWNER))
    assert len(kinds(scene)) == 2
    assert next_things(stranger, NOW).object_list == []


def test_who_has_it_is_the_contractor_engaged_today(scene):
    start_duties(actor=BY, proportioner=scene.proportioner)
    [thing] = next_things(scene.owner, NOW).object_list
    assert thing.who == scene.contractor.organisation_name
    grant = scene.site.grants.get()
    grant.ends_on = TODAY - timedelta(days=1)
    grant.save(by=BY)
    [thing] = next_things(scene.owner, NOW).object_list
    assert thing.who == ""


def fill(scene, count: int) -> None:
    """So many sites in three zones, each with an overdue test, a bad result and an impairment."""
    zones = ("Europe/Lisbon", "Asia/Tokyo", "America/Denver")
    for n in range(count):
        site = SiteFactory(owner=scene.owner.organisation, time_zone=zones[n % 3])
        device = ProportionerFactory(system=FoamSystemFactory(site=site))
        start_duties(actor=BY, proportioner=device, tank=device.tank)
        kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean", proportioner=device)
        visited(scene.contractor, device, TODAY, restored=False)


def counted(scene) -> tuple[int, int]:
    with CaptureQueriesContext(connection) as captured:
        page = next_things(scene.owner, NOW)
    return len(captured), len(page.object_list)


def test_the_list_costs_the_same_for_three_rows_and_for_three_hundred(scene):
    """Eleven queries: sites in reach, the page, then one look at each table for the whole page."""
    fill(scene, 1)
    few, shown = counted(scene)
    assert shown == 4
    fill(scene, 80)
    many, shown = counted(scene)
    assert shown == 50
    assert Site.objects.count() == 82
    assert many <= few <= 11


def test_pages_follow_each_other_without_a_gap_or_a_line_twice(scene):
    fill(scene, 40)
    pages = [next_things(scene.owner, NOW, page=number) for number in (1, 2, 3, 4)]
    assert [len(page.object_list) for page in pages] == [50, 50, 50, 10]
    assert [page.has_next for page in pages] == [True, True, True, False]
    lines = [(thing.kind, thing.key) for page in pages for thing in page.object_list]
    assert len(set(lines)) == len(lines) == 160
    assert next_things(scene.owner, NOW, page=5) == pages[0]  # an old address leads to the front
    found = [kind for kind, _ in lines]
    assert found == ["impairment"] * 40 + ["lean"] * 40 + ["overdue"] * 80


@pytest.mark.parametrize("sites", [3, queries.FEW + 1])
def test_few_sites_and_many_give_the_same_list(scene, sites):
    """The database is led another way to the same rows."""
    fill(scene, 3)
    before = next_things(scene.owner, NOW)
    with history.bulk(BY, "invented", Site):
        Site.objects.bulk_create(
            SiteFactory.build(owner=scene.owner.organisation) for _ in range(sites)
        )
    assert next_things(scene.owner, NOW) == before
    assert len(before.object_list) == 12


def test_counts_end_where_a_number_says_nothing_more(scene, monkeypatch):
    fill(scene, 3)
    assert standings(scene.owner, NOW)[0] == ("overdue", "Overdue", "6")
    monkeypatch.setattr("itm.trends.next_things.MOST", 5)
    assert standings(scene.owner, NOW) == [
        ("overdue", "Overdue", "more than 5"),
        ("due", "Due", "0"),
        ("open", "Window open", "0"),
    ]


def test_an_authority_reads_the_same_list_without_what_went_back(scene):
    fill(scene, 1)
    site = Site.objects.exclude(pk=scene.site.pk).get()
    SiteAuthorityFactory(site=site, organisation=scene.authority.organisation)
    test = kept(scene, on=TODAY, state="draft", handed_in_at=None)
    moved(test, "send_back", TODAY, "private words")
    own = next_things(scene.owner, NOW).object_list
    seen = next_things(scene.authority, NOW).object_list
    assert [thing for thing in own if thing.kind != "sent_back"] == seen
    assert len(seen) == len(own) - 1 == 4
    assert "sent_back" not in kinds_of(scene.authority)
