"""Which acceptance criteria a system can have, and what they refuse."""

from decimal import Decimal
from typing import Any

import pytest

from calc.criteria import shipped_criteria
from itm.core.errors import Refused
from itm.records.models import ProportioningTest
from itm.registry import criteria
from itm.registry.services import add_proportioner, change_system
from tests.conftest import Scene


def test_every_shipped_rule_can_be_chosen() -> None:
    codes = {code for code, _ in criteria.choices()}
    assert codes - {criteria.COMMON, criteria.CUSTOM} == set(shipped_criteria()) - {"fixed-systems"}
    assert [code for code in codes if criteria.needs_baseline(code)] == ["baseline"]
    assert next(iter(criteria.shipped())) == criteria.COMMON


# Published: fixtures/reference/check-values.json G-01 (NFPA 11), G-04 (IMO MSC.1/Circ.1432, ships),
# G-05 (EN 13565-1, second-hand), G-06 (NFPA 412, from memory) as fixtures/criteria holds them.
@pytest.mark.parametrize(
    ("code", "nominal", "lower", "upper"),
    [
        ("common", "3", "3.0", "3.9"),
        ("common", "6", "6.0", "7.0"),
        ("marine", "3", "2.7", "3.9"),
        ("marine", "6", "5.4", "7.8"),
        ("european", "1", "1.0", "1.3"),
        ("vehicle-turrets", "3", "2.8", "3.5"),
        ("vehicle-handlines", "6", "5.5", "8.0"),
    ],
)
def test_band_is_the_published_one(code: str, nominal: str, lower: str, upper: str) -> None:
    band = criteria.band_of(code, Decimal(nominal))
    assert (band.lower, band.upper) == (Decimal(lower), Decimal(upper))


def test_what_is_frozen_fits_its_columns() -> None:
    for code in criteria.shipped():
        words = criteria.words_of(code)
        for name in ("title", "source", "edition", "confidence"):
            column: Any = ProportioningTest._meta.get_field(f"criterion_{name}")
            assert len(getattr(words, name)) <= column.max_length
        assert len(code) <= ProportioningTest._meta.get_field("criterion").max_length


def test_a_source_of_the_owner_takes_the_place_of_that_in_the_data() -> None:
    words = criteria.words_of("marine", "Flag state circular 7 (invented)")
    assert words.source == "Flag state circular 7 (invented)"
    assert words.edition == ""
    assert "owner" in words.grounds
    assert "Circ.1432" in criteria.words_of("marine").grounds
    assert "looked up" in criteria.words_of("marine").grounds
    assert criteria.words_of("custom").grounds == ""


@pytest.mark.parametrize("code", ["vehicle-turrets", "european"])
def test_a_percent_that_a_criterion_does_not_name_is_refused(scene: Scene, code: str) -> None:
    device = scene.proportioner
    device.nominal_percent = Decimal("2")
    device.save(by=scene.owner)
    with pytest.raises(Refused) as refused:
        change_system(actor=scene.owner, system=scene.system, criterion=code)
    assert refused.value.code == "nominal_not_named"
    assert "says nothing about a nominal 2 %" in refused.value.sentence
    device.retired_on = scene.owner.today
    device.save(by=scene.owner)
    system = change_system(actor=scene.owner, system=scene.system, criterion=code)
    with pytest.raises(Refused, match=r"2\.5") as refused:
        add_proportioner(
            actor=scene.owner, system=system, flow_points=[], tag="PR-X", kind="bladder_tank",
            tank=scene.tank, nominal_percent=Decimal("2.5"), flush_order=["Stop"],
            restoration_order=["Valve"],
        )  # fmt: skip
    assert refused.value.place == "nominal_percent"
