"""The list of all records, and that from a site's page everything of it is two clicks away."""

import re
from typing import Any

import pytest

from tests.conftest import Scene
from tests.deeds import prepared, tested
from tests.factories import AttachmentFactory, EquipmentFactory, SiteFactory

HREF = re.compile(r'href="([^"#]+)')


def links(page: Any, url: str) -> set[str]:
    return {one.replace("&amp;", "&") for one in HREF.findall(page.get(url).content.decode())}


def reached(page: Any, start: str, clicks: int) -> set[str]:
    """Addresses within so many clicks, leaving by pages of this product only."""
    seen, edge = {start}, {start}
    for _ in range(clicks):
        edge = {to for url in edge for to in links(page, url) if to.startswith("/")} - seen
        edge = {to for to in edge if not to.startswith("/static/")}
        seen |= edge
    return seen


@pytest.mark.parametrize("who", ["owner", "contractor", "authority"])
def test_everything_of_a_site_is_two_clicks_from_its_page(
    enter: Any, scene: Scene, who: str
) -> None:
    test = tested(scene)
    valve = EquipmentFactory(site=scene.site, system=None, tank=scene.tank)
    lot = scene.tank.movements.get().lot
    file = AttachmentFactory(site=scene.site, tank=scene.tank)
    page = enter(who)
    found = reached(page, f"/sites/{scene.site.key}/", 2)
    for wanted in (
        f"/systems/{scene.system.key}/", f"/proportioners/{scene.proportioner.key}/",
        f"/tanks/{scene.tank.key}/", f"/equipment/{valve.key}/", f"/lots/{lot.key}/",
        f"/visits/{test.visit.key}/", f"/tests/{test.key}/", f"/tests/{test.key}/report/",
        f"/trends/{scene.proportioner.key}/", f"/attachments/{file.key}/file/",
        f"/due/?site={scene.site.name.replace(' ', '%20')}",
    ):  # fmt: skip
        assert wanted in found, wanted


def test_records_are_listed_newest_first_and_narrowed_by_their_address(
    enter: Any, scene: Scene
) -> None:
    sealed = tested(scene)
    draft = prepared(scene).test
    elsewhere = SiteFactory(owner=scene.owner.organisation)
    page = enter("contractor")
    both = page.get("/records/").content.decode()
    assert f'href="/tests/{sealed.key}/"' in both
    assert f'href="/tests/{draft.key}/"' in both
    for query, fits in (
        (f"limits={sealed.limits.replace(' ', '+')}", [sealed]),
        ("state=draft", [draft]),
        (f"site={scene.site.key}", [sealed, draft]),
        (f"find={sealed.seal.digest[:10]}", [sealed]),
        (f"find={scene.proportioner.tag}", [sealed, draft]),
        ("find=nowhere", []),
        ("sort=limits", [sealed, draft]),
        ("sort=nonsense", [sealed, draft]),
    ):
        text = page.get(f"/records/?{query}").content.decode()
        shown = [row for row in (sealed, draft) if f'href="/tests/{row.key}/"' in text]
        assert shown == fits, query
    owner = enter("owner")
    text = owner.get("/records/").content.decode()
    assert f'href="/tests/{sealed.key}/report/"' in text
    assert f"/tests/{draft.key}/" not in text
    there = owner.get(f"/records/?site={elsewhere.key}").content.decode()
    assert "No test yet that is yours to see." in there
