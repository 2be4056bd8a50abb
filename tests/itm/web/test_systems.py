"""Pages of systems and proportioners: sentences at the form, nothing typed lost."""

from datetime import date
from typing import Any

import pytest

from itm.core.history import Change
from itm.registry import queries, queries_equipment
from itm.registry.criteria import choices
from itm.registry.models import (
    Equipment,
    FoamSystem,
    Proportioner,
    Site,
    Tank,
)
from itm.registry.restoring import FLUSH_ORDER, restoration_order
from itm.schedule.models import Duty
from tests.conftest import Scene
from tests.factories import (
    EquipmentFactory,
    FoamSystemFactory,
    SiteFactory,
)
from tests.itm.web.entries import SYSTEM, device, point


def test_owner_goes_from_a_new_site_to_a_proportioner_with_what_is_due(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    answer = page.post(
        "/sites/new/",
        {"name": "North quay", "address": "Quay 4", "country": "Norway",
         "time_zone": "Europe/Oslo"},
    )  # fmt: skip
    site = Site.objects.get(name="North quay")
    assert answer["Location"] == f"/sites/{site.key}/"
    assert site.owner == scene.owner.organisation

    page.post(f"/sites/{site.key}/systems/new/", SYSTEM)
    system = FoamSystem.objects.get(name="Rack foam")
    assert system.site == site
    assert system.design_flow == pytest.approx(2.1 / 60, rel=1e-15)
    assert system.design_flow_typed == "2 100 L/min"
    assert system.required_minutes == 10.5

    page.post(
        f"/sites/{site.key}/tanks/new/",
        {"tag": "T-9", "kind": "bladder", "capacity": "500", "capacity_unit": "US gal",
         "usable_volume": "470", "usable_volume_unit": "US gal"},
    )  # fmt: skip
    tank = Tank.objects.get(tag="T-9")
    assert tank.capacity == pytest.approx(500 * 3.785411784e-3, rel=1e-15)  # NIST SP 811, B.8

    answer = page.post(f"/systems/{system.key}/proportioners/new/", device(tank))
    made = Proportioner.objects.get(tag="PR-9")
    assert answer["Location"] == f"/proportioners/{made.key}/"
    assert made.flush_order == FLUSH_ORDER
    assert made.restoration_order == []  # nobody's, so it follows kind, tank and valves
    assert queries_equipment.lines_to_put_back(made) == (
        restoration_order("bladder", "in_line_balanced"), False,
    )  # fmt: skip
    assert made.lowest_listed_flow is None
    flows = [(one.name, one.flow_typed) for one in made.flow_points.order_by("flow")]
    assert flows == [("minimum", "420 L/min"), ("design", "2100 L/min")]
    assert {duty.tank_id or duty.proportioner_id for duty in Duty.objects.all()} == {
        tank.pk, made.pk,
    }  # fmt: skip
    assert {duty.counts_from for duty in Duty.objects.all()} == {date(2020, 4, 30)}

    text = page.get(f"/sites/{site.key}/").content.decode()
    for shown in ("North quay", "Rack foam", "PR-9", "T-9", "470 US gal", "nothing noted"):
        assert shown in text
    change = Change.objects.filter(object_key=site.key).get()
    assert (change.verb, change.person) == ("created", scene.owner.person)


def test_lines_written_by_a_person_stay_as_they_are(enter: Any, scene: Scene) -> None:
    lists = {"restoration_order": "Valve A open\nValve B shut", "flush_order": "Water shut"}
    enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/", device(scene.tank, **lists)
    )
    made = Proportioner.objects.get(tag="PR-9")
    assert made.restoration_order == ["Valve A open", "Valve B shut"]
    assert made.flush_order == ["Water shut"]


def test_list_offered_for_another_kind_follows_the_kind_that_was_chosen(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/systems/{scene.system.key}/proportioners/new/"
    offered = "\n".join(restoration_order("bladder", ""))
    page.post(url, device(scene.tank, kind="electronic", restoration_order=offered))
    made = Proportioner.objects.get(tag="PR-9")
    assert queries_equipment.lines_to_put_back(made)[0] == restoration_order(
        "bladder", "electronic"
    )


def test_choosing_a_kind_answers_with_its_list_and_leaves_written_lines_alone(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/systems/{scene.system.key}/proportioners/new/"
    asked = {"kind": "electronic", "tank": str(scene.tank.pk), "restoration_order": ""}
    fresh = page.get(url, asked, headers={"HX-Request": "true"}).content.decode()
    assert "Controller on automatic, percent set as listed" in fresh
    assert "<html" not in fresh
    asked["restoration_order"] = "My own line"
    kept = page.get(url, asked, headers={"HX-Request": "true"}).content.decode()
    assert "My own line" in kept
    assert "Controller on automatic" not in kept
    wrong = page.get(url, {**asked, "tank": "x", "restoration_order": "x" * 201},
                     headers={"HX-Request": "true"})  # fmt: skip
    assert wrong.status_code == 200
    assert "x" * 201 in wrong.content.decode()


def test_list_follows_the_valves_until_somebody_writes_one(enter: Any, scene: Scene) -> None:
    at = {"site": scene.site, "system": scene.system}
    outlet = EquipmentFactory(
        site=scene.site, system=None, tank=scene.tank, tag="CV-1", name="Outlet", walk_order=1
    )
    EquipmentFactory(**at, tag="MV-2", variety="sealed", normal_position="closed", walk_order=2)
    EquipmentFactory(**at, tag="ST-3", kind="strainer", variety="water")
    page, url = enter("owner"), f"/systems/{scene.system.key}/proportioners/new/"
    offered = page.get(url).content.decode().split('name="restoration_order"')[1]
    assert "CV-1 Outlet: open, locked\nMV-2: closed, sealed\nEvery other valve" in offered
    assert "Concentrate tank outlet valve open" not in offered  # the valve itself says so
    assert "Strainers opened, cleaned and closed" in offered  # no valve, so it stays
    lines = restoration_order("bladder", "", [outlet, Equipment.objects.get(tag="MV-2")])
    page.post(url, device(scene.tank, restoration_order="\n".join(lines)))
    made = Proportioner.objects.get(tag="PR-9")
    assert made.restoration_order == []
    EquipmentFactory(**at, tag="TV-3", normal_position="as_noted", position_note="shut, capped")
    shown = page.get(f"/proportioners/{made.key}/").content.decode()
    assert "<li>TV-3: shut, capped, locked</li>" in shown
    assert "it follows the valves of" in shown
    flows = {"minimum": "420", "design": "2100"}
    kept = [point(p.name, flows[p.name], key=str(p.key)) for p in queries.flow_points(made)]
    change = device(scene.tank, *kept, restoration_order="Valve A open")
    assert page.post(f"/proportioners/{made.key}/edit/", change).status_code == 302
    shown = page.get(f"/proportioners/{made.key}/").content.decode()
    assert "<li>Valve A open</li>" in shown
    assert "TV-3" not in shown
    assert "Written for this proportioner" in shown


def test_constraints_of_the_database_speak_at_the_form_and_keep_what_was_typed(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/sites/{scene.site.key}/systems/new/"
    answer = page.post(url, {**SYSTEM, "name": scene.system.name, "minimum_flow": "9999",
                             "custom_lower": "3", "hazard": "Pump bay"})  # fmt: skip
    text = answer.content.decode()
    assert answer.status_code == 422
    for sentence in (
        "This site already has a system with that name.",
        "Minimum flow must be above 0 and at most the design flow.",
        "Limits of its own need both a lower and a higher upper percent, 0 to 100;",
    ):
        assert sentence in text
    for typed in ('value="9999"', 'value="2 100"', 'value="Pump bay"', 'value="10,5"'):
        assert typed in text
    assert FoamSystem.objects.count() == 1


def test_same_name_is_free_again_once_the_other_system_is_retired(enter: Any, scene: Scene) -> None:
    old = FoamSystemFactory(site=scene.site, retired_on=date(2024, 1, 1))
    answer = enter("owner").post(
        f"/sites/{scene.site.key}/systems/new/", {**SYSTEM, "name": old.name}
    )
    assert answer.status_code == 302


def test_a_criterion_is_chosen_with_source_edition_and_confidence_beside_it(
    enter: Any, scene: Scene
) -> None:
    page = enter("owner")
    url = f"/systems/{scene.system.key}/edit/"
    text = page.get(url).content.decode()
    for words in ("MSC.1/Circ.1432 (2012); looked up", "edition not known; from memory, low"):
        assert words in text
    assert text.count('name="criterion"') == len(choices())
    assert page.post(url, {**SYSTEM, "criterion": "marine"}).status_code == 302
    scene.system.refresh_from_db()
    assert scene.system.criterion == "marine"
    shown = page.get(f"/systems/{scene.system.key}/").content.decode()
    assert "Ships: from 10 % below to 30 % above nominal" in shown
    assert "annex 9.2.4; MSC.1/Circ.1432 (2012); looked up" in shown
    scene.proportioner.nominal_percent = 2
    scene.proportioner.save(by=scene.owner)
    refused = page.post(url, {**SYSTEM, "criterion": "vehicle-turrets"})
    assert refused.status_code == 422
    assert "says nothing about a nominal 2 %, only about 3, 6 %" in refused.content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"minimum_flow": "1,900"}, "can be read in two ways; write 1900 or 1.900"),
        ({"minimum_flow": "fast"}, "“fast”"),
        ({"minimum_flow": ""}, "This field is required."),
        ({"minimum_flow_unit": "barrel"}, "“barrel” is not one of"),
        ({"required_minutes": "0"}, "must be above 0 minutes"),
        ({"commissioned_on": "30.4.2020"}, "Write the day as year, month and day"),
        ({"kind": "bucket"}, "bucket is not one of the available choices"),
        ({"criterion": "custom", "custom_lower": "3", "custom_upper": "2"}, "a higher upper"),
        ({"criterion": "custom", "custom_lower": "3.12345", "custom_upper": "4"}, "3 decimal"),
    ],
)
def test_wrong_entry_of_a_system_is_answered_with_what_would_be_right(
    enter: Any, scene: Scene, changed: dict[str, str], sentence: str
) -> None:
    answer = enter("owner").post(f"/sites/{scene.site.key}/systems/new/", {**SYSTEM, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert FoamSystem.objects.count() == 1


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ([point("minimum", "420"), point("half", "900")], "add the flow point “design”"),
        ([point("minimum", "2200"), point("design", "2100")], "at most the flow at “design”"),
        (
            [point("minimum", "420"), point("design", "2100"), point("Design", "2000")],
            "Two flow points are called “Design”",
        ),
        ([point("minimum", "420"), point("design", "")], "At which solution flow is “design”"),
        ([point("minimum", "420"), point("design", "0")], "above 0"),
        (
            [point("minimum", "420"), point("design", "2100"), point("", "900")],
            "Name this flow point",
        ),
    ],
)
def test_flow_points_are_refused_with_a_sentence_and_stay_in_their_rows(
    enter: Any, scene: Scene, rows: list[dict[str, str]], sentence: str
) -> None:
    answer = enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/", device(scene.tank, *rows)
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in text
    assert all(f'value="{row["flow"]}"' in text for row in rows if row["flow"])
    assert not Proportioner.objects.filter(tag="PR-9").exists()


def test_form_and_flow_points_say_what_is_wrong_at_once(enter: Any, scene: Scene) -> None:
    rows = point("minimum", "many"), point("design", "2100")
    answer = enter("owner").post(
        f"/systems/{scene.system.key}/proportioners/new/",
        device(scene.tank, *rows, nominal_percent="three", tag=scene.proportioner.tag),
    )
    text = answer.content.decode()
    for sentence in ("“three”", "“many”", "already has a proportioner with that tag"):
        assert sentence in text


def test_site_page_keeps_the_stored_name_while_a_wrong_one_is_in_the_form(
    enter: Any, scene: Scene
) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Taken")
    answer = enter("owner").post(
        f"/sites/{scene.site.key}/edit/", {"name": "Taken", "time_zone": "Mars/Base"}
    )
    text = answer.content.decode()
    assert "You already have a site with that name." in text
    assert "“Mars/Base” is no time zone of the IANA list" in text.replace("&#x27;", "'")
    assert f"<h1>Change {scene.site.name}</h1>" in text
    assert 'value="Mars/Base"' in text
