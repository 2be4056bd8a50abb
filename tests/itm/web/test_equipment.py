"""Equipment reaches its pages: added at its place, found, changed, copied, retired, taken back."""

from typing import Any

from django.contrib.messages import get_messages

from itm.registry.models import Equipment
from tests.conftest import Scene
from tests.factories import EquipmentFactory, FoamSystemFactory, SiteFactory, TankFactory

VALVE = {
    "what": "valve:locked", "tag": "V-101", "pieces": "1", "normal_position": "open",
    "name": "Concentrate isolation valve",
}  # fmt: skip


def test_valve_is_added_at_the_place_that_the_address_names(enter: Any, scene: Scene) -> None:
    page, at = enter("owner"), f"tank:{scene.tank.key}"
    empty = page.get(f"/tanks/{scene.tank.key}/").content.decode()
    url = f"/sites/{scene.site.key}/equipment/new/?at={at}"
    assert f'href="{url}"' in empty
    assert f'value="{at}" selected' in page.get(url).content.decode()
    page.post(url, {**VALVE, "stands_at": at})
    row = Equipment.objects.get(site=scene.site)
    assert (row.tank, row.system, row.what) == (scene.tank, None, "Valve, locked")
    there = page.get(f"/tanks/{scene.tank.key}/").content.decode()
    assert f'href="/equipment/{row.key}/"' in there
    assert "Concentrate isolation valve" in there


def test_every_wrong_entry_gets_its_sentence_at_its_place_and_keeps_what_was_typed(
    enter: Any, scene: Scene
) -> None:
    page, url = enter("owner"), f"/sites/{scene.site.key}/equipment/new/"
    for wrong, sentence in (
        ({"what": ""}, "This field is required."),
        ({"what": "valve:buried"}, "Select a valid choice"),
        ({"stands_at": f"system:{FoamSystemFactory().key}"}, "Select a valid choice"),
        ({"normal_position": ""}, "How does this valve stand when all is well?"),
        ({"normal_position": "as_noted"}, "Say in words how this valve normally stands."),
        ({"pieces": "0"}, "One row stands for at least one piece."),
        ({"installed_on": "2999-01-01"}, "This day has not come yet."),
        ({"installed_on": "1/2/2020"}, "Write the day as year, month and day"),
    ):
        answer = page.post(url, {**VALVE, "stands_at": "site", "place": "Pump room", **wrong})
        text = answer.content.decode()
        assert answer.status_code == 422, wrong
        assert sentence in text
        assert 'value="Pump room"' in text
    assert not Equipment.objects.exists()


def test_position_goes_with_the_valve(enter: Any, scene: Scene) -> None:
    """The page hides these fields once something else is chosen, so they must not stand in the
    way."""
    row = EquipmentFactory(site=scene.site, system=scene.system, position_note="two turns")
    page = enter("owner")
    page.post(
        f"/equipment/{row.key}/edit/",
        {**VALVE, "what": "strainer:water", "position_note": "x" * 200, "walk_order": "no number"},
    )
    row.refresh_from_db()
    assert (row.kind, row.variety, row.normal_position, row.position_note, row.walk_order) == (
        "strainer", "water", "", "", None,
    )  # fmt: skip
    assert row.system == scene.system  # a change does not move it


def test_another_one_like_it_starts_with_all_but_its_tag_and_number(
    enter: Any, scene: Scene
) -> None:
    row = EquipmentFactory(
        site=scene.site, system=scene.system, maker="Invented valves", serial_number="S-7"
    )
    page = enter("owner")
    link = f"/sites/{scene.site.key}/equipment/new/?like={row.key}"
    assert f'href="{link}"' in page.get(f"/equipment/{row.key}/").content.decode()
    text = page.get(link).content.decode()
    assert 'value="Invented valves"' in text
    assert 'value="valve:locked" selected' in text
    assert f'value="system:{scene.system.key}" selected' in text
    assert row.tag not in text.split("<form")[2]
    assert "S-7" not in text
    stranger = EquipmentFactory(maker="Another owner's")
    odd = page.get(f"/sites/{scene.site.key}/equipment/new/?like={stranger.key}").content.decode()
    assert "Another owner" not in odd


def test_list_narrows_to_a_site_and_a_kind_by_its_address(enter: Any, scene: Scene) -> None:
    here = EquipmentFactory(site=scene.site, system=scene.system)
    pump = EquipmentFactory(
        site=scene.site, system=scene.system, kind="concentrate_pump", variety=""
    )
    elsewhere = EquipmentFactory(site=SiteFactory(owner=scene.owner.organisation))
    page = enter("owner")
    link = f"/equipment/?site={scene.site.key}&amp;kind=valve"
    assert f'href="{link}"' in page.get(f"/sites/{scene.site.key}/").content.decode()
    text = page.get(link.replace("&amp;", "&")).content.decode()
    assert [str(one.key) in text for one in (here, pump, elsewhere)] == [True, False, False]
    assert f'name="site" value="{scene.site.key}"' in text  # and stays when the reader asks on
    assert '<option value="valve" selected>' in text
    every = page.get("/equipment/").content.decode()
    assert all(str(one.key) in every for one in (here, pump, elsewhere))
    none = page.get(f"/equipment/?site={scene.site.key}&kind=vent").content.decode()
    assert "Nothing here fits what you asked for" in none
    assert page.get("/equipment/?kind=nonsense").status_code == 200
    for nowhere in (EquipmentFactory().site.key, "x"):
        assert page.get(f"/equipment/?site={nowhere}").status_code == 404


def test_page_of_a_place_says_that_its_equipment_leaves_with_it(enter: Any, scene: Scene) -> None:
    system = FoamSystemFactory(site=scene.site)
    row = EquipmentFactory(site=scene.site, system=system)
    page = enter("owner")
    asked = page.get(f"/systems/{system.key}/retire/").content.decode()
    assert "leaves and comes back with it: 1 in the list of equipment" in asked
    page.post(f"/systems/{system.key}/retire/", {"retired_on": "2026-01-31"})
    assert "Retired since 31 Jan 2026" in page.get(f"/equipment/{row.key}/").content.decode()
    page.post(f"/systems/{system.key}/take-back/")
    assert "Retired since" not in page.get(f"/equipment/{row.key}/").content.decode()


def test_move_is_kept_on_the_pages_of_the_thing_and_of_both_places(
    enter: Any, scene: Scene
) -> None:
    valve = EquipmentFactory(site=scene.site, system=scene.system)
    page, url = enter("owner"), f"/equipment/{valve.key}/"
    assert f'href="{url}move/"' in page.get(url).content.decode()
    to = {"stands_at": f"tank:{scene.tank.key}"}
    asked = page.post(f"{url}move/", to)
    assert "Since which day does it stand there?" in asked.content.decode()
    answer = page.post(f"{url}move/", {**to, "moved_on": "2026-02-03", "reason": "new branch"})
    kept = valve.relocations.get()
    said = [*get_messages(answer.wsgi_request)][-1]
    assert said.extra_tags == f"/moves/{kept.key}/take-back/"
    words = f"from {scene.system} to tank {scene.tank}: new branch"
    for there in (url, f"/systems/{scene.system.key}/", f"/tanks/{scene.tank.key}/"):
        text = page.get(there).content.decode()
        assert "3 Feb 2026" in text
        assert words in text
    page.post(f"/moves/{kept.key}/take-back/")
    assert "taken back on" in page.get(url).content.decode()
    page.post(f"{url}move/", {**to, "slip": "on", "moved_on": ""})
    valve.refresh_from_db()
    assert valve.tank == scene.tank
    assert valve.relocations.count() == 1


def test_proportioner_moves_with_system_and_tank_and_not_by_its_form(
    enter: Any, scene: Scene
) -> None:
    device, tank = scene.proportioner, TankFactory(site=scene.site)
    page, url = enter("owner"), f"/proportioners/{scene.proportioner.key}/"
    assert 'name="tank"' not in page.get(f"{url}edit/").content.decode()
    same = {"system": scene.system.pk, "tank": scene.tank.pk, "moved_on": "2026-02-03"}
    assert "It stands there already." in page.post(f"{url}move/", same).content.decode()
    assert page.post(f"{url}move/", {**same, "tank": tank.pk}).status_code == 302
    device.refresh_from_db()
    assert device.tank == tank
    assert f"to {scene.system}, tank {tank}" in page.get(f"/tanks/{tank.key}/").content.decode()
