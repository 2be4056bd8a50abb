"""The ranges of a lot's certificate: kept, withdrawn, refused."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from itm.core.errors import Forbidden, Refused
from itm.registry.certifying import Range, ranges_of, set_ranges
from tests.factories import ConcentrateLotFactory, LotRangeFactory

PH = Range(Decimal("6.5"), Decimal("8.5"), "6.5", "8.5", "at 20 °C")
THIN = Range(highest=Decimal("20"), highest_typed="20 cSt")


def test_ranges_are_kept_as_typed_and_withdrawn_when_they_are_gone(scene):
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    given = {"ph": PH, "kinematic_viscosity_mm2_s": THIN}
    rows = set_ranges(actor=scene.owner, lot=lot, ranges=given)
    assert [(r.name, r.lowest_typed, r.highest_typed, r.condition) for r in rows] == [
        ("ph", "6.5", "8.5", "at 20 °C"),
        ("kinematic_viscosity_mm2_s", "", "20 cSt", ""),
    ]
    assert [r.pk for r in set_ranges(actor=scene.owner, lot=lot, ranges=given)] == [
        r.pk for r in rows
    ]
    [left] = set_ranges(actor=scene.owner, lot=lot, ranges={"ph": PH})
    assert left.name == "ph"
    assert lot.ranges.count() == 2
    [_, back] = set_ranges(actor=scene.owner, lot=lot, ranges=given)
    assert back.pk == rows[1].pk
    assert not back.withdrawn


def test_a_reversed_range_and_another_owner_are_refused(scene):
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    wrong = {"ph": Range(Decimal(9), Decimal(6), "9", "6")}
    with pytest.raises(Refused) as refusal:
        set_ranges(actor=scene.owner, lot=lot, ranges=wrong)
    assert (refusal.value.code, refusal.value.place) == ("range_reversed", "ph-lowest")
    assert "write the lower end first" in refusal.value.sentence
    for other in (scene.contractor, scene.authority):
        with pytest.raises(Forbidden):
            set_ranges(actor=other, lot=lot, ranges={"ph": PH})
    with pytest.raises(Forbidden):
        set_ranges(actor=scene.owner, lot=ConcentrateLotFactory(), ranges={"ph": PH})
    assert ranges_of(lot) == []


@pytest.mark.parametrize("ends", [{"lowest": 9}, {"lowest": None, "highest": None}])
def test_the_database_refuses_a_reversed_range_and_an_empty_one(db, ends):
    with pytest.raises(IntegrityError), transaction.atomic():
        LotRangeFactory(**ends)


def test_the_database_refuses_a_second_range_of_one_property(db):
    first = LotRangeFactory()
    with pytest.raises(IntegrityError), transaction.atomic():
        LotRangeFactory(lot=first.lot)
