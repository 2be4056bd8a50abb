"""An impairment that was found moves the system in every list, and each row says what is open. That
both kinds of impairment stand on every list that names the system is a rule of our own."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.findings.models import Deficiency
from itm.trends.beside import Asked, side_by_side
from itm.trends.devices import device_rows
from itm.trends.jurisdiction import jurisdiction, site_lines, standings, systems_table
from itm.trends.systems import systems
from tests.factories import EquipmentFactory, FoamSystemFactory, ProportionerFactory, TankFactory
from tests.itm.trends.kept import BY, kept, line, visited
from tests.itm.trends.test_systems import NOW, TODAY, device_at, stands


def noted(scene, severity: int = 1, closed: bool = False, **at) -> Deficiency:
    row: Deficiency = Deficiency.objects.create(
        by=BY, site=scene.site, cause="by_hand", source=f"{severity} {at}", words="bladder torn",
        proposed=severity, severity=severity, found_on=TODAY, opened_at=NOW, opened_by="x", **at,
    )  # fmt: skip
    if closed:
        row.outcome, row.closed_at, row.closed_by, row.closed_reason = "ended", NOW, "x", "slip"
        row.save(by=BY)
    return row


def places(scene, device) -> dict:
    return {
        "system": {"system": device.system},
        "proportioner": {"proportioner": device},
        "tank": {"tank": device.tank},
        "equipment": {"equipment": EquipmentFactory(site=scene.site, system=device.system)},
        "at_tank": {"equipment": EquipmentFactory(site=scene.site, system=None, tank=device.tank)},
    }


@pytest.mark.parametrize("place", ["system", "proportioner", "tank", "equipment", "at_tank"])
def test_an_impairment_that_was_found_moves_the_system_above_a_lean_result(
    scene, place, monkeypatch
):
    fine = device_at(scene, "fine", date(2026, 5, 1), tank=TankFactory(site=scene.site))
    device_at(scene, "rich", date(2026, 5, 1), limits="rich")
    out = device_at(scene, "out", date(2026, 5, 1))
    line(visited(scene.contractor, out, TODAY, restored=False), out)
    assert stands(scene)["fine"] == "ahead"
    noted(scene, **places(scene, fine)[place])
    assert list(stands(scene).items())[:3] == [
        ("out", "impaired"), ("fine", "wrong"), ("rich", "outside"),
    ]  # fmt: skip
    assert stands(scene, stands="wrong") == {"fine": "wrong"}
    monkeypatch.setattr("itm.schedule.queries.FEW", 0)  # and now as if there were many sites
    assert list(stands(scene))[:3] == ["out", "fine", "rich"]
    assert stands(scene, stands="wrong") == {"fine": "wrong"}
    for name in ("ahead", "due", "open", "overdue", "none", "outside", "undecided"):
        assert "fine" not in stands(scene, stands=name)


def test_what_is_of_another_class_closed_or_told_by_its_result_moves_no_system(scene):
    lean = device_at(scene, "lean", date(2026, 5, 1), limits="lean")
    other = device_at(scene, "other", date(2026, 5, 1))
    noted(scene, 2, system=other.system)
    noted(scene, 1, closed=True, system=other.system)
    row = noted(scene, 1, proportioner=lean)
    Deficiency._base_manager.filter(pk=row.pk).update(
        cause="lean", test=lean.tests.get(), spot="design"
    )
    assert (stands(scene)["lean"], stands(scene)["other"]) == ("outside", "ahead")


def test_each_row_says_how_much_is_open_and_of_which_class(scene, client):
    device = device_at(scene, "fine", date(2026, 5, 1), tank=TankFactory(site=scene.site))
    bare = FoamSystemFactory(site=scene.site, name="bare")
    noted(scene, 1, tank=device.tank)
    noted(scene, 3, proportioner=device)
    noted(scene, 3, system=device.system)
    noted(scene, 2, system=bare)
    words = "1 impairment, 2 noncritical deficiencies open"
    rows = {row.system.name: row.wrong_words for row in systems(scene.authority, NOW).object_list}
    assert (rows["fine"], rows["bare"]) == (words, "1 critical deficiency open")
    [row] = device_rows([device], NOW)
    assert row.wrong_words == words
    beside = side_by_side(scene.authority, Asked()).rows
    assert {one.wrong_words for one in beside if one.proportioner == device} == {words}
    client.force_login(scene.authority.user)
    for page in ("home", "side_by_side", "trends"):
        assert words in client.get(reverse(page)).content.decode(), page
    assert "Found impaired" in client.get(reverse("home")).content.decode()


def test_the_sheet_of_a_jurisdiction_names_it_among_the_worst(scene):
    device = device_at(scene, "fine", date(2026, 5, 1))
    noted(scene, system=device.system)
    seen = jurisdiction(scene.authority, NOW)
    assert [(row.system.name, row.stands) for row in seen.systems if row.stands == "wrong"] == [
        ("fine", "wrong")
    ]
    assert seen.standings["wrong"] == 1
    [site] = site_lines(scene.authority, standings(scene.authority), NOW)
    assert site.systems["wrong"] == 1
    assert ["Found impaired", "1 impairment open"] in [
        row[3:5] for row in systems_table(scene.authority, NOW)
    ]


def test_what_is_open_costs_as_much_for_one_device_as_for_many(scene):
    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert systems(scene.authority, NOW).object_list
        return len(captured)

    noted(scene, tank=scene.tank)
    kept(scene, {"design": 3.4}, on=date(2026, 5, 1))
    few = cost()
    for number in range(20):
        device = ProportionerFactory(
            system=FoamSystemFactory(site=scene.site, name=f"more {number}"), tank=scene.tank
        )
        noted(scene, proportioner=device)
        kept(scene, {"design": 3.4}, on=date(2026, 5, 1), proportioner=device)
    assert cost() <= few
