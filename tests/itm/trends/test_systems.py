"""The inspector's list: every system of the jurisdiction by standing, worst first."""

from datetime import UTC, date, datetime

from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.accounts.models import Organisation
from itm.schedule.due import Result
from itm.schedule.services import refresh, start_duties
from itm.trends.systems import STANDINGS, systems
from tests.factories import (
    TODAY,
    FoamSystemFactory,
    OrganisationFactory,
    ProportionerFactory,
    SiteAuthorityFactory,
    SiteFactory,
    TankFactory,
    actor_of,
)
from tests.itm.trends.kept import BY, kept, line, visited

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def stands(scene, **asked) -> dict[str, str]:
    page = systems(scene.authority, NOW, **asked)
    return {row.system.name: row.stands for row in page.object_list}


def device_at(scene, name: str, tested: date | None = None, **facts):
    """Another system of the site, with one test behind it that proves it unless told otherwise."""
    system = FoamSystemFactory(site=scene.site, name=name, commissioned_on=date(2024, 6, 1))
    device = ProportionerFactory(system=system, tank=facts.pop("tank", scene.tank))
    start_duties(actor=BY, proportioner=device)
    if tested is not None:
        test = kept(scene, {"design": 3.3}, on=tested, proportioner=device, **facts)
        result = Result(tested, test.limits, test.certainty, test.purpose, test.phase, test.key)
        refresh(actor=BY, proportioner=device, results=[result])
    return device


def test_systems_stand_in_the_order_of_what_is_worst(scene):
    scene.system.retired_on = TODAY
    scene.system.save(by=BY)
    FoamSystemFactory(site=scene.site, name="bare")
    device_at(scene, "ahead", date(2026, 5, 1))
    device_at(scene, "open", date(2025, 7, 1))
    device_at(scene, "due", date(2025, 5, 1))
    device_at(scene, "overdue")
    device_at(scene, "undecided", date(2026, 5, 1), certainty="undecided")
    device_at(scene, "rich", date(2026, 5, 1), limits="rich")
    out = device_at(scene, "out", date(2026, 5, 1))
    line(visited(scene.contractor, out, TODAY, restored=False), out)
    assert list(stands(scene).items()) == [
        ("out", "impaired"),
        ("rich", "outside"),
        ("undecided", "undecided"),
        ("overdue", "overdue"),
        ("due", "due"),
        ("open", "open"),
        ("ahead", "ahead"),
        ("bare", "none"),
    ]
    assert stands(scene, stands="undecided") == {"undecided": "undecided"}
    assert stands(scene, site="elsewhere") == {}


def test_a_line_left_out_keeps_its_own_system_out_and_no_other(scene):
    other = device_at(scene, "other", date(2026, 5, 1))
    visit = visited(scene.contractor, scene.proportioner, TODAY, restored=False)
    line(visit, other, outcome="restored", ended_at=NOW)
    left = line(visit, scene.proportioner, outcome="left_out", ended_at=NOW, reason="no part",
                handed_to="site manager", handed_at=NOW)  # fmt: skip
    assert stands(scene)[scene.system.name] == "impaired"
    assert stands(scene)["other"] == "ahead"
    line(visit, scene.proportioner, position=2, outcome="restored", ended_at=NOW, follows=left)
    assert stands(scene)[scene.system.name] != "impaired"


def test_a_test_day_that_names_no_system_yet_may_mean_each_of_the_site(scene):
    visited(scene.contractor, scene.proportioner, TODAY, restored=False)
    assert set(stands(scene).values()) == {"impaired"}


def test_a_draft_and_a_hand_in_do_not_move_a_system(scene):
    device = device_at(scene, "fine", date(2026, 5, 1))
    kept(scene, {"design": 2.5}, on=TODAY, proportioner=device, limits="lean", state="handed_in")
    draft = device_at(scene, "drafted", date(2026, 5, 1))
    kept(scene, on=TODAY, proportioner=draft, state="draft", handed_in_at=None)
    assert stands(scene)["fine"] == stands(scene)["drafted"] == "ahead"


def test_an_overdue_concentrate_check_ranks_every_system_that_its_tank_feeds(scene):
    """Each once, though two proportioners of one system draw from that tank."""
    scene.system.retired_on = TODAY
    scene.system.save(by=BY)
    fed = device_at(scene, "fed", date(2026, 5, 1))
    second = ProportionerFactory(system=fed.system, tank=scene.tank)
    kept(scene, {"design": 3.3}, on=date(2026, 5, 1), proportioner=second)
    device_at(scene, "fed too", date(2026, 5, 1))
    device_at(scene, "of its own", date(2026, 5, 1), tank=TankFactory(site=scene.site))
    start_duties(actor=BY, tank=scene.tank)
    assert stands(scene) == {"fed": "overdue", "fed too": "overdue", "of its own": "ahead"}
    rows = systems(scene.authority, NOW, stands="overdue").object_list
    assert [row.system.name for row in rows] == ["fed", "fed too"]
    assert (rows[0].devices[0].check.name, rows[0].devices[0].test.name) == ("overdue", "ahead")


def test_the_check_of_a_tank_moves_no_system_that_draws_from_another(scene):
    device_at(scene, "fine", date(2026, 5, 1), tank=TankFactory(site=scene.site))
    start_duties(actor=BY, tank=scene.tank)
    assert stands(scene) == {scene.system.name: "overdue", "fine": "ahead"}
    scene.proportioner.retired_on = TODAY
    scene.proportioner.save(by=BY)
    assert stands(scene) == {"fine": "ahead", scene.system.name: "none"}


def test_a_system_with_nothing_but_a_check_stands_by_it(scene):
    start_duties(actor=BY, tank=scene.tank)
    assert stands(scene) == {scene.system.name: "overdue"}


def test_another_jurisdiction_is_not_listed(scene):
    elsewhere = actor_of(OrganisationFactory(kind=Organisation.Kind.AUTHORITY))
    assert len(stands(scene)) == 1
    assert systems(elsewhere, NOW).object_list == []


def test_the_list_costs_the_same_for_three_systems_and_for_three_hundred(scene):
    """One to name few sites, one for what is out, one a standing until the page is full, then the
    devices with their systems, records, results, duties and lines."""

    def fill(count: int) -> None:
        for n in range(count):
            site = SiteFactory(time_zone=("Asia/Tokyo", "America/Denver")[n % 2])
            SiteAuthorityFactory(site=site, organisation=scene.authority.organisation)
            device = ProportionerFactory(system=FoamSystemFactory(site=site))
            start_duties(actor=BY, proportioner=device, tank=device.tank)
            kept(scene, {"design": 3.4}, on=date(2026, 5, 1), proportioner=device)

    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert systems(scene.authority, NOW).object_list
        return len(captured)

    fill(2)
    few = cost()
    fill(300)
    assert systems(scene.authority, NOW).has_next
    assert cost() <= few <= 15


def test_each_standing_alone_is_what_the_whole_list_says_of_it(scene, monkeypatch):
    """Though the whole list knows what it met before and a standing alone asks the database; and
    though a system with many duties is met many times over."""
    monkeypatch.setattr("itm.trends.systems.PAGE", 4)  # so that lists are read in several stretches
    scene.system.retired_on = TODAY
    scene.system.save(by=BY)
    for n in range(3):
        mixed = device_at(scene, f"mixed {n}", date(2026, 5, 1 + n), limits="rich")
        for number, stands_so in enumerate(("undecided", "undecided", "settled")):
            beside = ProportionerFactory(system=mixed.system, tank=scene.tank)
            start_duties(actor=BY, proportioner=beside)
            kept(scene, {"design": 3.3}, on=date(2026, 4, 1 + number), proportioner=beside,
                 certainty=stands_so)  # fmt: skip
    doubted = device_at(scene, "doubted", date(2026, 5, 1), certainty="undecided")
    for _ in range(12):
        start_duties(actor=BY, proportioner=ProportionerFactory(system=doubted.system))
    start_duties(actor=BY, tank=scene.tank)
    for n in range(3):
        device_at(scene, f"late {n}")
        device_at(scene, f"fed {n}", date(2026, 5, 1))
        device_at(scene, f"fine {n}", date(2026, 5, 1 + n), tank=TankFactory(site=scene.site))
        FoamSystemFactory(site=scene.site, name=f"bare {n}")
    out = device_at(scene, "out", date(2026, 5, 1), limits="lean")
    line(visited(scene.contractor, out, TODAY, restored=False), out)

    def whole(**asked) -> list[tuple[str, str]]:
        rows, page = list[tuple[str, str]](), 1
        while True:
            part = systems(scene.authority, NOW, page=page, **asked)
            rows += [(row.system.name, row.stands) for row in part.object_list]
            if not part.has_next:
                return rows
            page += 1

    listed = whole()
    monkeypatch.setattr("itm.schedule.queries.FEW", 0)  # and now as if there were many sites
    assert whole() == listed
    assert len(listed) == len(dict(listed)) == 17
    assert {"impaired", "outside", "undecided", "overdue", "ahead", "none"} == set(
        dict(listed).values()
    )
    for name in STANDINGS:
        assert whole(stands=name) == [row for row in listed if row[1] == name], name
