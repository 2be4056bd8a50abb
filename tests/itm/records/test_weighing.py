"""Standards that were weighed: what is kept, what is refused, and the percent that follows."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from calc.standards import as_made_by_mass
from itm.core.errors import Conflict, Refused
from itm.core.measures import TEMPERATURE
from itm.core.quantities import quantity
from itm.intake.complete import problems
from itm.records import bench as services
from itm.records import pouring
from itm.records.direct_forms import DENSITY
from itm.records.document import document
from itm.records.evaluate import engine_input, evaluate, preview
from itm.records.loading import whole
from itm.records.models import Bottle, ProportioningTest
from itm.records.weighing import known_densities, percent_as_made, recipe_in_grams
from tests.checks import begun, bottle, lot_of, measure
from tests.conftest import Scene
from tests.itm.benches import READ, draft, read

GRAMS = {"S1": ("4.192", "195.65"), "S2": ("6.288", "193.65"), "S3": ("8,384", "191.66")}


def said(scene: Scene, test: ProportioningTest, **entered: Any) -> None:
    services.change_bench(actor=scene.contractor, bench=test.bench, **entered)
    test.bench.refresh_from_db()


def with_density(
    scene: Scene, test: ProportioningTest, number: str = "1.048", at: str = "20"
) -> None:
    said(
        scene, test, density=quantity(number, "g/mL", DENSITY), density_from="data_sheet",
        density_at=quantity(at, "°C", TEMPERATURE),
    )  # fmt: skip


@pytest.fixture
def test(scene: Scene) -> ProportioningTest:
    """Weighed and read, without a density."""
    made = draft(scene)
    said(scene, made, standards_by="mass")
    services.set_out(actor=scene.contractor, test=made)
    for label, (concentrate, water) in GRAMS.items():
        weigh(scene, made.bench.bottles.get(label=label), concentrate, water)
    for label, value in READ.items():
        read(scene, made.bench.bottles.get(label=label), value)
    return made


def weigh(scene: Scene, bottle: Bottle, concentrate: str, water: str, **options: Any) -> Bottle:
    return pouring.set_masses(
        actor=scene.contractor, bottle=bottle, concentrate_g_typed=concentrate,
        water_g_typed=water, **options,
    )  # fmt: skip


def test_grams_are_kept_as_typed_beside_their_value(test: ProportioningTest) -> None:
    bottle = test.bench.bottles.get(label="S3")
    assert (bottle.concentrate_g_typed, bottle.concentrate_g) == ("8,384", Decimal("8.384"))
    assert (bottle.concentrate_ml, bottle.concentrate_ml_typed) == (None, "")


def test_without_a_density_there_is_no_percent_by_volume_and_no_hand_in(
    test: ProportioningTest,
) -> None:
    assert percent_as_made(test.bench.bottles.get(label="S2"), test.bench) is None
    found = preview(test)
    assert found.result is None
    assert "no density of the concentrate" in found.problem
    assert "no_result" in {one.code for one in problems(test)}


def test_with_a_density_it_is_the_percent_of_the_definition(
    scene: Scene, test: ProportioningTest
) -> None:
    with_density(scene, test)
    # Volumes by the definition of density; 998.207 kg/m³ is water at 20 °C (Tanaka et al. 2001).
    expected = as_made_by_mass(6.288, 193.65, 1.048, 0.998207, 0.0).percent
    made = percent_as_made(test.bench.bottles.get(label="S2"), test.bench)
    assert made == pytest.approx(float(expected), rel=1e-6)
    assert made == pytest.approx(3.0, abs=0.001)
    form = engine_input(whole(test.pk))
    assert form["densities"] == {"concentrate": 1048.0, "temperature_c": 20.0}
    assert form["standards"][2].keys() == {"concentrate_g", "water_g", "readings"}
    assert preview(test).result is not None


def test_what_the_density_may_be_off_by_is_a_rectangle(
    scene: Scene, test: ProportioningTest
) -> None:
    # JCGM 100:2008, 4.3.7: half width over the square root of three.
    with_density(scene, test)
    bare = preview(test).result
    said(scene, test, density_error=quantity("60", "kg/m³", DENSITY))
    form = engine_input(whole(test.pk))
    assert form["densities"]["standard_uncertainty"] == pytest.approx(60 / 3**0.5)
    wide = preview(test).result
    assert bare is not None
    assert wide is not None
    for before, after in zip(bare["flow_points"], wide["flow_points"], strict=True):
        assert after["standard_uncertainty"] > before["standard_uncertainty"]


@pytest.mark.parametrize(
    ("concentrate", "water", "code", "place"),
    [
        ("6", "", "missing_mass", "water_g"),
        ("six", "194", "not_a_number", "concentrate_g"),
        ("6 mL", "194", "volume_not_mass", "concentrate_g"),
        ("-6", "194", "out_of_range", "concentrate_g"),
        ("6.00001", "194", "too_fine", "concentrate_g"),
        ("0", "0", "nothing_mixed", "concentrate_g"),
    ],
)
def test_masses_that_cannot_be_are_refused(
    scene: Scene, test: ProportioningTest, concentrate: str, water: str, code: str, place: str
) -> None:
    with pytest.raises(Refused) as refusal:
        weigh(scene, test.bench.bottles.get(label="S1"), concentrate, water)
    assert (refusal.value.code, refusal.value.place) == (code, place)


def test_half_by_volume_and_half_by_mass_is_refused_and_the_database_refuses_it_too(
    scene: Scene, test: ProportioningTest
) -> None:
    bottle = test.bench.bottles.get(label="S1")
    volumes = {"concentrate_ml_typed": "4", "water_ml_typed": "196"}
    with pytest.raises(Refused) as refusal:
        pouring.set_volumes(actor=scene.contractor, bottle=bottle, **volumes)
    assert refusal.value.code == "mixed_basis"
    assert "4.192 and 195.65 g" in refusal.value.sentence
    bottle.concentrate_ml = Decimal(4)
    with pytest.raises(IntegrityError), transaction.atomic():
        bottle.save(by=scene.contractor)
    weigh(scene, bottle, "", "")
    poured = pouring.set_volumes(actor=scene.contractor, bottle=bottle, **volumes)
    assert poured.concentrate_ml == 4


def test_masses_crossed_by_another_device_are_not_overwritten(
    scene: Scene, test: ProportioningTest
) -> None:
    bottle = test.bench.bottles.get(label="S1")
    with pytest.raises(Conflict) as crossed:
        weigh(scene, bottle, "4.2", "195.7", opened=("", ""))
    assert "4.192 g" in crossed.value.sentence


@pytest.mark.parametrize(
    ("name", "number", "unit", "units"),
    [
        ("density", "1.048", "kg/m³", DENSITY),
        ("density_error", "0", "kg/m³", DENSITY),
        ("density_at", "72", "°C", TEMPERATURE),
    ],
)
def test_density_that_is_none_is_refused(
    scene: Scene, test: ProportioningTest, name: str, number: str, unit: str, units: Any
) -> None:
    with pytest.raises(Refused) as refusal:
        said(scene, test, **{name: quantity(number, unit, units)})
    assert refusal.value.place == name


def test_the_record_says_how_it_was_weighed_and_one_without_stays_as_it_was(
    scene: Scene, test: ProportioningTest
) -> None:
    with_density(scene, test)
    found = document(whole(test.pk), evaluate(test, actor=scene.contractor))
    bench = found["bench"]
    assert (bench["density"], bench["density_at"]) == ("1.048 g/mL", "20 °C")
    assert bench["standards_by"] == "weighed, g"
    by_label = {one["label"]: one for one in bench["bottles"]}
    assert by_label["S2"]["concentrate_g"] == "6.288"
    assert by_label["S2"]["mass_percent"] == pytest.approx(100 * 6.288 / 199.938)
    assert "concentrate_g" not in by_label["water"]
    assert any("data sheet" in text for text in bench["remarks"])


def test_density_far_from_the_certificate_is_told(scene: Scene, test: ProportioningTest) -> None:
    lot = scene.tank.movements.get(kind="fill").lot
    lot.density = Decimal("1020.0")
    lot.save(by=scene.owner)
    with_density(scene, test)
    found = document(whole(test.pk), evaluate(test, actor=scene.contractor))
    assert any("28.0 kg/m³ above" in text for text in found["bench"]["remarks"])


@pytest.mark.parametrize(
    ("density", "at", "told"),
    [
        ("1.048", "21.5", "28.0 kg/m³ above"),
        ("1.048", "8", "More than 2 °C apart the two are not compared"),
        ("1.0225", "8", "More than 2 °C apart the two are not compared"),
        ("1.0210", "18", ""),
        ("1.0260", "18", "6.0 kg/m³ above"),
    ],
)
def test_only_densities_of_about_one_temperature_are_compared(
    scene: Scene, test: ProportioningTest, density: str, at: str, told: str
) -> None:
    """A glycol-rich liquid of 1020 kg/m³ at 20 °C has some 0.05 % a degree more in the cold (from
    memory), at 8 °C about 1026: no sign of another liquid."""
    lot = scene.tank.movements.get(kind="fill").lot
    lot.density = Decimal("1020.0")
    lot.save(by=scene.owner)
    with_density(scene, test, density, at)
    remarks = document(whole(test.pk), evaluate(test, actor=scene.contractor))["bench"]["remarks"]
    found = [one for one in remarks if "certificate says" in one]
    assert [told in one for one in found] == ([True] if told else [])


def test_what_register_and_checks_know_of_the_density_is_offered(
    scene: Scene, test: ProportioningTest
) -> None:
    check = begun(scene)
    lot_of(scene)
    measure(bottle(check, scene.contractor), scene.contractor, density="1.046 g/mL")
    known = known_densities(scene.contractor, test.bench, test.tested_on)
    assert len(known) == 2
    assert "1032.0 kg/m³ at 20 °C" in known[0]
    assert "1.046 g/mL at 20.0 °C" in known[1]


def test_recipe_in_grams_is_the_recipe_by_volume_times_the_densities(
    scene: Scene, test: ProportioningTest
) -> None:
    assert recipe_in_grams(test.bench, Decimal(3)) is None
    with_density(scene, test)
    made = recipe_in_grams(test.bench, Decimal(3))
    assert made is not None
    assert made.concentrate == pytest.approx(6 * 1.048)
    assert made.water == pytest.approx(194 * 0.998207, rel=1e-6)
