"""Order, search and whose row it is."""

from datetime import date

import pytest

from itm.records.models import RestorationLine
from itm.registry import queries
from itm.registry.models import Equipment, FlowPoint, Grant
from itm.registry.queries import Wanted
from itm.registry.restoring import LONGEST, restoration_order, untouched, valve_line
from tests.conftest import Scene
from tests.factories import (
    ConcentrateLotFactory,
    EquipmentFactory,
    InstrumentFactory,
    SiteFactory,
    TankFactory,
)


def test_rows_without_a_value_come_last_both_ways(scene: Scene) -> None:
    owner = scene.owner.organisation
    for batch, expires in (("a", None), ("b", date(2030, 1, 1)), ("c", date(2040, 1, 1))):
        ConcentrateLotFactory(owner=owner, product="Sorted", batch=batch, expires_on=expires)

    def order(sort: str) -> list[str]:
        found = queries.lots(scene.owner, Wanted(find="sorted", sort=sort))
        return [lot.batch for lot in found]

    assert order("expires_on") == ["b", "c", "a"]
    assert order("-expires_on") == ["c", "b", "a"]


def test_equal_rows_keep_one_order_so_that_pages_do_not_overlap(scene: Scene) -> None:
    owner = scene.owner.organisation
    for _ in range(6):
        TankFactory(site=SiteFactory(owner=owner), tag="T-same")
    rows = queries.tanks(scene.owner, Wanted(find="T-same", sort="tag"))
    assert rows.count() == 6
    assert [row.pk for row in rows] == sorted(row.pk for row in rows)


@pytest.mark.parametrize("sort", ["", "password", "-owner__password", "--name", "-"])
def test_order_that_the_list_does_not_have_is_the_first_one(scene: Scene, sort: str) -> None:
    for name in ("B", "A", "C"):
        SiteFactory(owner=scene.owner.organisation, name=name)
    found = queries.sites(scene.owner, Wanted(sort=sort)).exclude(pk=scene.site.pk)
    assert [site.name for site in found] == ["A", "B", "C"]


def test_search_takes_a_percent_sign_for_itself(scene: Scene) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Depot 100% north")
    assert queries.sites(scene.owner, Wanted(find="100%")).count() == 1
    assert queries.sites(scene.owner, Wanted(find="%%")).count() == 0


def test_retired_rows_show_when_asked_for(scene: Scene) -> None:
    SiteFactory(owner=scene.owner.organisation, name="Closed", retired_on=date(2020, 1, 1))
    names = {
        shown: {site.name for site in queries.sites(scene.owner, Wanted(shown=shown))}
        for shown in ("in_use", "retired", "all")
    }
    assert names == {
        "in_use": {scene.site.name},
        "retired": {"Closed"},
        "all": {scene.site.name, "Closed"},
    }


def test_site_of_finds_the_way_from_every_kind_of_row(scene: Scene) -> None:
    point = FlowPoint.objects.filter(proportioner=scene.proportioner).first()
    fill = scene.tank.movements.get()
    rows = [scene.site, scene.system, scene.proportioner, scene.tank, fill, point]
    rows.append(Grant.objects.get(site=scene.site))
    assert [queries.site_of(row) for row in rows] == [scene.site] * len(rows)
    assert queries.site_of(fill.lot) is None
    assert queries.site_of(scene.instrument) is None


def test_rows_are_changed_by_whose_they_are(scene: Scene) -> None:
    lot = scene.tank.movements.get().lot
    for row in (scene.site, scene.system, scene.proportioner, scene.tank, lot):
        assert queries.may_change(scene.owner, row)
        assert not queries.may_change(scene.contractor, row)
        assert not queries.may_change(scene.authority, row)
    assert queries.may_change(scene.contractor, scene.instrument)
    assert not queries.may_change(scene.contractor, InstrumentFactory())
    assert not queries.may_change(scene.owner, scene.instrument)


def test_engagement_counts_its_first_and_its_last_day(scene: Scene) -> None:
    grant = Grant(starts_on=date(2026, 3, 1), ends_on=date(2026, 3, 31))
    days = [date(2026, 2, 28), date(2026, 3, 1), date(2026, 3, 31), date(2026, 4, 1)]
    assert [queries.stands(grant, day) for day in days] == [
        "not begun", "engaged", "engaged", "ended",
    ]  # fmt: skip


def test_list_is_untouched_only_while_every_line_is_as_offered() -> None:
    offered = restoration_order("bladder", "line_eductor")
    assert untouched(offered)
    assert untouched(restoration_order("atmospheric", ""))
    assert not untouched([*offered, "One more"])
    assert not untouched(offered[1:])
    assert not untouched([])
    valves = [EquipmentFactory.build(tag="V-1", site=None, system=None)]
    with_valves = restoration_order("bladder", "line_eductor", valves)
    assert untouched(with_valves, [valves])
    assert not untouched(with_valves)


def test_line_of_a_valve_leaves_its_name_out_before_it_grows_too_long() -> None:
    short = Equipment(tag="V-1", name="Drain", variety="unsupervised", normal_position="closed")
    assert valve_line(short) == "V-1 Drain: closed"
    longest = {
        "tag": "T" * 40, "name": "N" * 80, "position_note": "P" * 120, "variety": "supervised",
    }  # fmt: skip
    line = valve_line(Equipment(normal_position="as_noted", **longest))
    assert line == f"{'T' * 40}: {'P' * 120}, supervised"
    assert len(line) <= LONGEST
    assert RestorationLine._meta.get_field("text").max_length == LONGEST
