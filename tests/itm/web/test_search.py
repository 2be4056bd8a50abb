"""The page of the search, and lists narrowed by what stands in their address."""

from typing import Any
from urllib.parse import quote

import pytest

from itm.trends.search import SHOWN
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
    EquipmentFactory,
    FoamSystemFactory,
    InstrumentFactory,
    SiteFactory,
    TankFactory,
)


def test_search_stands_in_the_address_and_leads_to_what_it_found(enter: Any, scene: Scene) -> None:
    valve = EquipmentFactory(site=scene.site, system=scene.system, tag="QX <b>77")
    for who in ("owner", "contractor", "authority"):
        text = enter(who).get(f"/search/?find={quote('qx <b>')}").content.decode()
        assert f'href="/equipment/{valve.key}/"' in text
        assert 'value="qx &lt;b&gt;"' in text
        assert "QX &lt;b&gt;77" in text
        assert 'href="/search/" aria-current="page"' in text


def test_search_says_what_to_do_when_empty_and_when_nothing_fits(enter: Any, scene: Scene) -> None:
    page = enter("owner")
    assert "Every word is looked for in sites" in page.get("/search/").content.decode()
    none = page.get("/search/?find=nothing+such").content.decode()
    assert "Nothing that is yours to see fits “nothing such”." in none
    for odd in ("%00", "%25", "x" * 500, "2026-99-99", "%F0%9F%A7%AF", "a b c d e f g h"):
        assert page.get(f"/search/?find={odd}").status_code == 200, odd


def test_more_than_a_few_lead_on_to_the_list_with_all_of_them(enter: Any, scene: Scene) -> None:
    for number in range(SHOWN + 1):
        TankFactory(site=scene.site, tag=f"Drum {number:02}")
    page = enter("owner")
    text = page.get(f"/search/?find=drum+{quote(scene.site.name)}").content.decode()
    link = f"/tanks/?find=drum+{scene.site.name.replace(' ', '+')}&amp;shown=all"
    assert f'href="{link}"' in text
    listed = page.get(link.replace("&amp;", "&")).content.decode()
    assert listed.count("Drum ") >= SHOWN + 1


def test_more_records_than_shown_ask_for_another_word(enter: Any, scene: Scene) -> None:
    for number in range(SHOWN + 1):
        SiteFactory(owner=scene.owner.organisation, name=f"Depot {number}")
    text = enter("owner").get("/search/?find=depot").content.decode()
    assert 'href="/sites/?find=depot&amp;shown=all"' in text


@pytest.mark.parametrize(
    ("url", "fits", "other"),
    [
        ("/systems/?kind=monitor", {"kind": "monitor"}, {"kind": "deck"}),
        ("/systems/?fuel=polar", {"fuel": "polar"}, {"fuel": "hydrocarbon"}),
        ("/systems/?fuel=polar&kind=deck", {"fuel": "polar", "kind": "deck"}, {"kind": "deck"}),
    ],
)
def test_list_of_systems_is_narrowed(
    enter: Any, scene: Scene, url: str, fits: dict[str, str], other: dict[str, str]
) -> None:
    one = FoamSystemFactory(site=scene.site, **fits)
    two = FoamSystemFactory(site=scene.site, **other)
    text = enter("owner").get(url).content.decode()
    assert (str(one.key) in text, str(two.key) in text) == (True, False)
    away = enter("owner").get(f"{url}&site={SiteFactory(owner=scene.owner.organisation).key}")
    assert str(one.key) not in away.content.decode()


def test_lists_of_tanks_lots_and_instruments_are_narrowed(enter: Any, scene: Scene) -> None:
    owner = scene.owner.organisation
    rows = {
        "/tanks/?kind=atmospheric": (
            TankFactory(site=scene.site, kind="atmospheric"), TankFactory(site=scene.site),
        ),
        "/lots/?pfas=free": (
            ConcentrateLotFactory(owner=owner, pfas="free"),
            ConcentrateLotFactory(owner=owner, pfas="contains"),
        ),
        "/lots/?kind=afff": (
            ConcentrateLotFactory(owner=owner, kind="afff"), ConcentrateLotFactory(owner=owner),
        ),
    }  # fmt: skip
    for url, (one, two) in rows.items():
        text = enter("owner").get(url).content.decode()
        assert (str(one.key) in text, str(two.key) in text) == (True, False), url
    mine = scene.contractor.organisation
    meter = InstrumentFactory(organisation=mine, method="conductivity", unit="mS/cm")
    text = enter("contractor").get("/instruments/?method=conductivity").content.decode()
    assert (str(meter.key) in text, str(scene.instrument.key) in text) == (True, False)
