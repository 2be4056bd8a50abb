"""Search finds what its reader may see, by every word, in a fixed number of queries."""

from typing import Any

import pytest

from itm.registry.models import Tank
from itm.trends.search import KINDS, SHOWN, found
from tests.conftest import Scene
from tests.deeds import prepared, tested
from tests.factories import (
    AttachmentFactory,
    ConcentrateLotFactory,
    EquipmentFactory,
    OrganisationFactory,
    SiteFactory,
    TankFactory,
    actor_of,
)


def titles(actor: Any, text: str) -> dict[str, list[str]]:
    return {group.title: [hit.title for hit in group.hits] for group in found(actor, text)}


def test_each_kind_is_found_by_its_name_tag_or_number(scene: Scene) -> None:
    valve = EquipmentFactory(
        site=scene.site, system=scene.system, tag="QX-77", serial_number="SN-9000"
    )
    lot = ConcentrateLotFactory(owner=scene.owner.organisation, batch="QX-LOT")
    file = AttachmentFactory(site=scene.site, caption="seal of QX-77")
    assert titles(scene.owner, "qx-") == {
        "Equipment": [valve.tag], "Lots": [str(lot)], "Photos and papers": [file.name],
    }  # fmt: skip
    assert titles(scene.owner, "sn-9000") == {"Equipment": [valve.tag]}
    for title, row in (
        ("Sites", scene.site), ("Foam systems", scene.system),
        ("Proportioners", scene.proportioner), ("Tanks", scene.tank),
    ):  # fmt: skip
        assert str(row) in titles(scene.owner, str(row))[title]
    assert titles(scene.contractor, scene.instrument.serial_number)["Instruments"] == [
        str(scene.instrument)
    ]


def test_every_word_has_to_stand_somewhere(scene: Scene) -> None:
    elsewhere = SiteFactory(owner=scene.owner.organisation, name="Harbour")
    here = TankFactory(site=scene.site, tag="Z-1")
    TankFactory(site=elsewhere, tag="Z-1")
    groups = found(scene.owner, f"z-1 {scene.site.name}")
    assert [(g.title, [h.key for h in g.hits]) for g in groups] == [("Tanks", [here.key])]
    assert len(titles(scene.owner, "Z-1")["Tanks"]) == 2
    assert found(scene.owner, "z-1 nowhere") == []
    assert found(scene.owner, " \0 ") == []


def test_record_is_found_by_day_month_year_number_and_digest(scene: Scene) -> None:
    test = tested(scene)
    on = test.tested_on.isoformat()
    for text in (on, on[:7], on[:4], str(test.seal.number), test.seal.digest[:8].upper()):
        records = [g for g in found(scene.authority, text) if g.title == "Records"]
        assert [h.key for g in records for h in g.hits] == [test.key], text
    for text in ("1066", f"{on[:4]}-13", "0000", "0000-00-00", f"{on}x", "deadbeef", "9" * 70):
        assert not [g for g in found(scene.owner, text) if g.title == "Records"], text


def test_nobody_finds_what_is_not_theirs(scene: Scene) -> None:
    draft = prepared(scene).test
    EquipmentFactory(site=scene.site, system=scene.system, tag="QX-77")
    for kind in ("owner", "contractor", "authority"):
        stranger = actor_of(OrganisationFactory(kind=kind))
        for text in ("QX-77", scene.site.name, scene.instrument.serial_number):
            assert found(stranger, text) == []
    keys = {
        who: [
            h.key
            for g in found(getattr(scene, who), scene.site.name)
            if g.title == "Records"
            for h in g.hits
        ]
        for who in ("owner", "contractor", "authority")
    }
    assert keys == {"owner": [], "contractor": [draft.key], "authority": []}


def test_retired_things_come_last_and_say_so(scene: Scene) -> None:
    gone = TankFactory(site=scene.site, tag="A-old Z")
    gone.retired_on = scene.owner.today
    gone.save(by=scene.owner)
    used = TankFactory(site=scene.site, tag="B-new Z")
    hits = found(scene.owner, " z ")[0].hits
    assert [(h.title, h.retired_on) for h in hits] == [
        (used.tag, None), (gone.tag, scene.owner.today),
    ]  # fmt: skip


@pytest.mark.parametrize("count", [3, 30])
def test_one_query_a_kind_however_much_is_found(
    scene: Scene, count: int, django_assert_num_queries: Any
) -> None:
    for number in range(count):
        EquipmentFactory(site=scene.site, system=scene.system, tag=f"M-{number}", name="many")
        TankFactory(site=scene.site, tag=f"many {number}")
    with django_assert_num_queries(len(list(KINDS))):
        groups = found(scene.owner, "many")
    assert [(len(g.hits), g.more) for g in groups] == [(min(count, SHOWN), count > SHOWN)] * 2
    assert Tank.objects.count() > count
