"""Standards that were weighed: from grams and densities to percent by volume."""

import math

import pytest

import calc
from calc.errors import CalcError
from calc.mixtures import DENSITY_HALF_WIDTH, densities_at, made_at
from calc.standards import as_made_by_mass
from tests.calc.benches import a_bench, found, places, readings

DENSITIES = {"concentrate": 1048.0, "temperature_c": 20.0, "standard_uncertainty": 2.0}
GRAMS = ((10.48, 489.12), (15.72, 484.13), (20.96, 479.14))
READ = (1.33360, 1.33389, 1.33418)


def weighed(**changes):
    standards = [
        {"concentrate_g": c, "water_g": w, "readings": readings(value)}
        for (c, w), value in zip(GRAMS, READ, strict=True)
    ]
    return a_bench(**{"standards": standards, "densities": DENSITIES, **changes})


def refused(form):
    with pytest.raises(CalcError) as refusal:
        calc.evaluate(form)
    return refusal.value.code, refusal.value.where


def test_percent_by_volume_of_a_mass_percent_is_that_of_a_published_worked_example():
    # A worked example on glycol and water after ASHRAE Handbook, Fundamentals, 1993 (looked up on
    # a public page that quotes it): 30 % by mass of a liquid of specific gravity 1.1155 in 1,000
    # gallons are 277.6 gallons of it.
    made = as_made_by_mass(30.0, 70.0, 1.1155, 1.0, 0.0)
    assert float(made.percent) == pytest.approx(27.76, abs=0.005)


def test_the_form_takes_grams_with_the_density_of_water_from_its_equation():
    # 998.207 kg/m³ at 20 °C: Tanaka et al. 2001, check value D-01.
    densities = densities_at(DENSITIES, "$.densities")
    made = made_at({"concentrate_g": 15.72, "water_g": 484.13}, "$", densities)
    volumes = 15.72 / 1.048, 484.13 / 0.998207
    assert made.percent == pytest.approx(100 * volumes[0] / sum(volumes), rel=1e-6)
    assert made.percent == pytest.approx(3.0, abs=1e-4)


def test_three_grams_called_three_percent_are_not():
    # Arithmetic of the definition: 3 g of 1.05 g/mL in 97 g of water are 2.86 % by volume.
    densities = densities_at({"concentrate": 1050, "temperature_c": 20}, "$")
    made = made_at({"concentrate_g": 3, "water_g": 97}, "$", densities)
    assert made.percent == pytest.approx(2.86, abs=0.005)


def test_by_mass_and_by_volume_of_the_same_liquids_are_one_result():
    by_mass = calc.evaluate(weighed(densities={**DENSITIES, "standard_uncertainty": 0}))
    litres = [
        {"concentrate_ml": c / 1.048, "water_ml": w / 0.998207, "readings": readings(value)}
        for (c, w), value in zip(GRAMS, READ, strict=True)
    ]
    by_volume = calc.evaluate(a_bench(standards=litres))
    for one, other in zip(by_mass.flow_points, by_volume.flow_points, strict=True):
        assert one.percent == pytest.approx(other.percent, rel=1e-6)
        assert one.standard_uncertainty == pytest.approx(other.standard_uncertainty, rel=1e-6)


def test_the_doubt_of_the_density_adds_in_full_however_many_bottles_share_it():
    # JCGM 100:2008, 5.2.4: an input in common of all standards. What it moves every percent by is
    # found once more by moving the density itself.
    doubt = 20.0
    sure, unsure = (
        calc.evaluate(weighed(densities={**DENSITIES, "standard_uncertainty": u}))
        for u in (0, doubt)
    )
    moved = calc.evaluate(
        weighed(densities={**DENSITIES, "concentrate": 1048 + doubt, "standard_uncertainty": 0})
    )
    for a, b, c in zip(sure.flow_points, unsure.flow_points, moved.flow_points, strict=True):
        by_density = abs(c.percent - a.percent)
        assert by_density > 0.05
        whole = math.hypot(a.standard_uncertainty, by_density)
        assert b.standard_uncertainty == pytest.approx(whole, rel=0.03)
        assert b.percent == a.percent


def test_without_a_stated_doubt_the_density_is_a_rectangle_of_a_percent():
    bare = densities_at({"concentrate": 1048, "temperature_c": 20}, "$")
    assert bare.u_concentrate == pytest.approx(1048 * DENSITY_HALF_WIDTH / math.sqrt(3))


def test_grams_without_a_density_are_refused_and_so_are_two_ways_in_one_bottle():
    bare = weighed()
    del bare["densities"]
    assert refused(bare) == ("density_missing", "$.standards[0]")
    for mixed in (
        {"concentrate_g": 3, "water_ml": 97},
        {"concentrate_g": 3},
        {"concentrate_g": 3, "water_g": 97, "concentrate_ml": 3, "water_ml": 97},
    ):
        form = weighed()
        form["standards"][1] = {**mixed, "readings": readings(1.33389)}
        assert refused(form) == ("percent_or_volumes", "$.standards[1]")


@pytest.mark.parametrize(
    ("densities", "code", "where"),
    [
        ({"concentrate": 1.048, "temperature_c": 20}, "out_of_range", "$.densities.concentrate"),
        ({"concentrate": 1048}, "missing_key", "$.densities.temperature_c"),
        ({"concentrate": 1048, "temperature_c": 41}, "out_of_range", "$.densities.temperature_c"),
        (
            {**DENSITIES, "standard_uncertainty": -1},
            "out_of_range",
            "$.densities.standard_uncertainty",
        ),
    ],
)
def test_density_that_is_none_is_refused(densities, code, where):
    assert refused(weighed(densities=densities)) == (code, where)


def test_density_of_another_temperature_is_told_with_its_size():
    cold = {**DENSITIES, "temperature_c": 12.0}
    [warned] = found(weighed(densities=cold), "density_elsewhere")
    assert warned.values["share"] == pytest.approx(0.17, abs=0.005)  # 8 °C times 2.1e-4
    assert places(weighed(), "density_elsewhere") == []
    poured = a_bench(densities=cold)  # nothing was weighed, so nobody asks how dense it is
    assert places(poured, "density_elsewhere") == []


def test_a_form_without_masses_keeps_its_digest_and_one_with_them_has_its_own():
    plain = calc.evaluate(a_bench()).inputs_digest
    assert calc.evaluate(a_bench(densities=None)).inputs_digest == plain
    assert calc.evaluate(a_bench(densities=DENSITIES)).inputs_digest != plain
