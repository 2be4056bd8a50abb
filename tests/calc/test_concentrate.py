"""Strength of the tank, layers and mixture against hand-worked cases and simulation.

All figures are invented; the arithmetic beside each is by hand.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.meta_analysis import combine_effects

from calc.concentrate import (
    DILUTED,
    LOT,
    NO_LAYERS,
    OTHER_LIQUID,
    STRATIFIED,
    TANK,
    THICKENED,
    UNCHANGED,
    Share,
    layers,
    mixture_baseline,
    percent_of_lot,
    share_left,
    strength,
)
from calc.errors import CalcError
from calc.water import water_density, water_index

FIXED = settings(derandomize=True, deadline=None, max_examples=60, database=None)
N_WATER, N_LOT, U_N = float(water_index(20.0)), 1.3630, 5e-5
D_WATER, D_LOT, U_D = float(water_density(20.0)), 1020.0, 0.3


def tank_of(part, more_density=0.0):
    """Strength of a tank that holds this part of concentrate and water for the rest."""
    n = N_WATER + part * (N_LOT - N_WATER)
    density = D_WATER + part * (D_LOT - D_WATER) + more_density
    return strength(
        [
            share_left(n, N_LOT, N_WATER, U_N, U_N, U_N),
            share_left(density, D_LOT, D_WATER, U_D, U_D, U_D),
        ]
    )


def test_share_by_hand():
    # (1.3600 - 1.3330)/(1.3630 - 1.3330) = 0.9; u = √(1 + 0.81 + 0.01) × 1e-4/0.03.
    found = share_left(1.3600, 1.3630, 1.3330, 1e-4, 1e-4, 1e-4)
    assert found.share == pytest.approx(0.9, rel=1e-9)
    assert found.u_share == pytest.approx(math.sqrt(1.82) * 1e-4 / 0.03, rel=1e-9)


def test_ten_parts_of_water_are_seen_by_both():
    found = tank_of(0.9)
    assert found.statement == DILUTED
    assert found.share_left == pytest.approx(0.9, abs=1e-9)
    assert found.high < 1


def test_lot_as_delivered_shows_no_change():
    assert tank_of(1.0).statement == UNCHANGED


def test_water_lost_by_evaporation_is_seen():
    assert tank_of(1.08).statement == THICKENED


def test_another_liquid_moves_one_of_them_only():
    # 6 kg/m³ of salt water or of another concentrate: density says 1.2, index says 0.9.
    found = tank_of(0.9, more_density=6.0)
    assert found.statement == OTHER_LIQUID
    assert found.u_share_left > tank_of(0.9).u_share_left


def test_one_property_alone_still_gives_the_share():
    found = strength([share_left(1.3600, N_LOT, N_WATER, U_N, U_N, U_N)])
    assert found.statement == DILUTED
    assert len(found.parts) == 1


def test_weighted_mean_by_hand():
    # Weights 4 : 1, so (4 × 0.90 + 0.91)/5 = 0.902; u = 1/√(1e4 + 2.5e3).
    found = strength([Share(0.90, 0.01), Share(0.91, 0.02)])
    assert found.share_left == pytest.approx(0.902, rel=1e-12)
    assert found.u_share_left == pytest.approx(1 / math.sqrt(12_500), rel=1e-12)


def test_weighted_mean_is_that_of_statsmodels():
    values, u_values = [0.901, 0.912, 0.897], [0.004, 0.009, 0.006]
    expected = combine_effects(np.array(values), np.square(u_values)).summary_frame()
    found = strength([Share(value, u) for value, u in zip(values, u_values, strict=True)])
    assert found.share_left == pytest.approx(expected.loc["fixed effect", "eff"], rel=1e-12)
    assert found.u_share_left == pytest.approx(expected.loc["fixed effect", "sd_eff"], rel=1e-9)


def test_simulated_tanks_are_covered_and_seldom_called_another_liquid():
    rng = np.random.default_rng(8)
    covered = other = 0
    for _ in range(2000):
        n = N_WATER + 0.95 * (N_LOT - N_WATER) + rng.normal(0, U_N)
        density = D_WATER + 0.95 * (D_LOT - D_WATER) + rng.normal(0, U_D)
        lot, heavy = N_LOT + rng.normal(0, U_N), D_LOT + rng.normal(0, U_D)
        found = strength(
            [
                share_left(n, lot, N_WATER, U_N, U_N, 0.0),
                share_left(density, heavy, D_WATER, U_D, U_D, 0.0),
            ]
        )
        covered += found.low <= 0.95 <= found.high
        other += found.statement == OTHER_LIQUID
    assert covered / 2000 >= 0.94
    assert other / 2000 == pytest.approx(0.05, abs=0.015)


def test_density_like_water_says_nothing():
    with pytest.raises(CalcError) as refused:
        share_left(998.0, 998.5, 998.2, 0.3, 0.3, 0.3)
    assert (refused.value.code, refused.value.where) == ("like_water", "lot")


def test_top_and_bottom_that_differ_are_layers():
    # By hand: 1.959964 × √2 × 1e-4 = 2.77e-4.
    found = layers([1.3600, 1.3610], 1e-4)
    assert found.statement == STRATIFIED
    assert found.allowed == pytest.approx(2.7718e-4, rel=1e-4)
    assert layers([1.3600, 1.3602], 1e-4).statement == NO_LAYERS


def test_three_heights_share_the_level_over_their_pairs():
    # 2.394 is the two-sided normal factor at 0.05/3.
    assert layers([1.36, 1.36, 1.3603], 1e-4).allowed == pytest.approx(3.3856e-4, rel=1e-3)
    rng = np.random.default_rng(9)
    false = [layers(rng.normal(1.36, 1e-4, 3), 1e-4).statement == STRATIFIED for _ in range(2000)]
    assert np.mean(false) <= 0.06


def test_mixture_of_two_fills_by_hand():
    # 300 L of 1.3630 and 100 L of 1.3590: 1.3620. Mass: 300 × 1020 + 100 × 1010 = 407,000 kg.
    found = mixture_baseline([300, 100], [1.3630, 1.3590], 0.0, 1e-4)
    assert found.value == pytest.approx(1.3620, rel=1e-9)
    assert found.u_value == pytest.approx(1e-4 * math.hypot(0.75, 0.25), rel=1e-9)
    assert mixture_baseline([300, 100], [1020, 1010]).value == pytest.approx(407_000 / 400)


def test_uncertain_volumes_matter_only_between_unlike_lots():
    assert mixture_baseline([300, 100], [1.36, 1.36], 30).u_value == pytest.approx(0, abs=1e-15)
    assert mixture_baseline([300, 100], [1.363, 1.359], 30).u_value > 1e-4


@FIXED
@given(st.lists(st.tuples(st.floats(1, 1e4), st.floats(1.34, 1.38)), min_size=1, max_size=5))
def test_mixture_lies_between_its_lots(fills):
    volumes, values = zip(*fills, strict=True)
    found = mixture_baseline(volumes, values).value
    assert min(values) - 1e-12 <= found <= max(values) + 1e-12


@FIXED
@given(st.floats(0.5, 1.2), st.floats(1, 1000), st.floats(-100, 100))
def test_share_does_not_hang_on_the_scale_of_the_instrument(part, scale, shift):
    n = N_WATER + part * (N_LOT - N_WATER)
    here = share_left(n, N_LOT, N_WATER, U_N, U_N, U_N)
    there = share_left(
        *(scale * v + shift for v in (n, N_LOT, N_WATER)), *(scale * U_N for _ in range(3))
    )
    assert there.share == pytest.approx(here.share, abs=1e-6)
    assert there.u_share == pytest.approx(here.u_share, rel=1e-6)


def test_standards_from_a_diluted_tank_hide_what_is_missing():
    # A right proportioner on a tank with one part of water in ten: 3.0 % of the tank's liquid,
    # 2.7 % of the lot.
    left = tank_of(0.9)
    hidden = percent_of_lot(3.0, 0.05, left, TANK)
    assert hidden.percent == pytest.approx(2.7, abs=1e-6)
    assert hidden.u_percent == pytest.approx(math.hypot(0.045, 3 * left.u_share_left), rel=1e-9)
    assert percent_of_lot(2.7, 0.05, left, LOT).percent == 2.7


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: strength([]), "empty_list", "shares"),
        (lambda: strength([Share(1.0, 0.0)]), "out_of_range", "u_share"),
        (lambda: share_left(None, 1.36, 1.33, 0, 0, 0), "not_finite", "tank"),
        (lambda: share_left(1.36, 1.36, 1.33, -1, 0, 0), "out_of_range", "u_tank"),
        (lambda: layers([1.36], 1e-4), "too_few_points", "values"),
        (lambda: layers([1.36, 1.36], 0), "out_of_range", "u_values"),
        (lambda: mixture_baseline([0, 1], [1, 2]), "out_of_range", "volumes"),
        (lambda: mixture_baseline([1, 1], [1]), "shapes_differ", "values"),
        (
            lambda: percent_of_lot(3, 0.1, tank_of(1.0), "drum"),
            "unknown_choice",
            "standards_from",
        ),
    ],
)
def test_check_that_cannot_be_made_is_refused(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert refused.value.message
