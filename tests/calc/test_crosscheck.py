"""The mixing cross-check of a bench. Sizes by arithmetic; slips as common practice names them, no
published source."""

import pytest

import calc
from calc.readings import index_to_brix
from tests.calc.benches import a_bench, readings, standards

WATER, CONCENTRATE = 1.3330, 1.3630  # 3.0e-4 per %, an ordinary 3 % concentrate; invented
SLOPE = (CONCENTRATE - WATER) / 100


METER = {"resolution": 1e-5, "repeatability": 2e-5, "temperature_compensated": False}


def bench(strength=1.0, concentrate=CONCENTRATE, sample=3.4, **changes):
    """Standards that hold `strength` of the concentrate that is written on them."""
    made = [2.0, 3.0, 4.0]
    return a_bench(
        water=readings(WATER),
        standards=standards(made, [WATER + SLOPE * strength * p for p in made]),
        concentrate=readings(concentrate),
        samples=[{"name": "design", "readings": readings(WATER + SLOPE * sample)}],
        **{"instrument": METER, **changes},
    )


def codes(data):
    return [warned.code for warned in calc.evaluate(data).warnings]


def test_good_standards_agree():
    mixing = calc.evaluate(bench()).mixing
    assert mixing.verdict == "agree"
    assert mixing.ratio == pytest.approx(1, rel=1e-9)
    assert mixing.flow_points[0].percent == pytest.approx(3.4, rel=1e-9)
    assert codes(bench()) == []


def test_liquid_left_in_the_pipette_shows_although_the_line_is_perfect():
    # 10 % stays in the pipette: a true 2.7 % reads 3.0 % (arithmetic).
    result = calc.evaluate(bench(strength=0.9, sample=2.7))
    assert result.line.r == pytest.approx(1)
    assert result.flow_points[0].percent == pytest.approx(3.0, rel=1e-6)
    assert result.mixing.verdict == "standards too weak"
    assert result.mixing.flow_points[0].percent == pytest.approx(2.7, rel=1e-6)
    assert "standards_weak" in [warned.code for warned in result.warnings]


def test_answer_that_turns_with_the_cross_check_is_undecided():
    result = calc.evaluate(bench(strength=0.9, sample=2.85))
    assert result.flow_points[0].limits == "in band"
    assert result.mixing.flow_points[0].reverses
    assert result.flow_points[0].certainty == result.samples[0].certainty == "undecided"


def test_diluted_tank_beside_standards_from_the_drum_is_estimated():
    # Bottle from a tank that is nine tenths concentrate (mixing rule, by arithmetic).
    result = calc.evaluate(bench(concentrate=WATER + 0.9 * (CONCENTRATE - WATER)))
    share, low, high = result.mixing.share_left
    assert share == pytest.approx(0.9, rel=1e-6)
    assert low < 0.9 < high
    assert "standards_strong" in codes(bench(concentrate=WATER + 0.9 * (CONCENTRATE - WATER)))


def test_a_warmer_bottle_of_concentrate_makes_the_check_less_sure():
    warm = bench()
    warm["concentrate"] = readings(CONCENTRATE, temperature_c=30.0)
    plain = calc.evaluate(bench()).mixing.standard_uncertainty
    assert calc.evaluate(warm).mixing.standard_uncertainty > plain


def test_brix_is_compared_on_the_index_scale():
    made = [2.0, 3.0, 4.0]

    def brix(index):
        return float(index_to_brix(index))

    data = a_bench(
        method="brix",
        instrument={"resolution": 0.001, "repeatability": None, "temperature_compensated": True},
        water=readings(brix(WATER)),
        standards=standards(made, [brix(WATER + SLOPE * p) for p in made]),
        concentrate=readings(brix(CONCENTRATE)),
        samples=[{"name": "design", "readings": readings(brix(WATER + SLOPE * 3.4))}],
    )
    mixing = calc.evaluate(data).mixing
    assert mixing.verdict == "agree"
    assert mixing.ratio == pytest.approx(1, abs=0.003)  # a Brix scale bends a little


@pytest.mark.parametrize("concentrate", [None, WATER])
def test_without_a_concentrate_that_differs_from_water_nothing_is_said(concentrate):
    data = bench()
    data["concentrate"] = None if concentrate is None else readings(concentrate)
    assert calc.evaluate(data).mixing is None


def test_conductivity_is_not_linear_to_the_undiluted_concentrate():
    assert calc.evaluate(bench(method="conductivity")).mixing is None
