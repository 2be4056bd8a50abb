"""Tanks: against the library fluids, against volumes known by hand, and level and volume as one.

Published examples stand in published/test_flows.py. Sizes are invented.
"""

import math

import fluids.geometry as independent
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calc.errors import CalcError
from calc.vessels import (
    HEADS,
    LEAST_INLET,
    Box,
    Head,
    HorizontalCylinder,
    Sphere,
    VerticalCylinder,
    capacity,
    height,
    level_of,
    usable_volume,
    volume_at,
)
from tests.calc.test_laws import FIXED

CONE, BOWL = Head("conical", 0.5), Head("ellipsoidal", 0.5)
CAP, DISH = Head("spherical", 0.5), Head("torispherical")
VESSELS = [
    Box(2.0, 1.5, 1.2),
    Sphere(1.6),
    HorizontalCylinder(1.2, 3.0),
    *[HorizontalCylinder(1.2, 3.0, head, head) for head in (CONE, BOWL, CAP, DISH)],
    HorizontalCylinder(1.2, 3.0, CAP, DISH),
    VerticalCylinder(1.2, 2.0),
    *[VerticalCylinder(1.2, 2.0, head, head) for head in (CONE, BOWL, CAP, DISH)],
    VerticalCylinder(1.2, 2.0, CONE, Head()),
]
SHARES = np.linspace(0.001, 0.999, 23)


@pytest.mark.parametrize(
    ("head", "theirs"),
    [
        (CONE, lambda h: independent.V_horiz_conical(1.2, 3.0, 0.5, h)),
        (BOWL, lambda h: independent.V_horiz_ellipsoidal(1.2, 3.0, 0.5, h)),
        (CAP, lambda h: independent.V_horiz_spherical(1.2, 3.0, 0.5, h)),
        (DISH, lambda h: independent.V_horiz_torispherical(1.2, 3.0, 1.0, 0.06, h)),
    ],
    ids=["conical", "ellipsoidal", "spherical", "torispherical"],
)
def test_lying_cylinder_agrees_with_the_independent_library(head, theirs):
    levels = 1.2 * SHARES
    ours = volume_at(HorizontalCylinder(1.2, 3.0, head, head), levels)
    assert ours == pytest.approx([theirs(float(h)) for h in levels], rel=1e-9)


@pytest.mark.parametrize(
    ("head", "theirs", "depth"),
    [
        (CONE, lambda h: independent.V_vertical_conical(1.2, 0.5, h), 0.5),
        (BOWL, lambda h: independent.V_vertical_ellipsoidal(1.2, 0.5, h), 0.5),
        (CAP, lambda h: independent.V_vertical_spherical(1.2, 0.5, h), 0.5),
        (DISH, lambda h: independent.V_vertical_torispherical(1.2, 1.0, 0.06, h), None),
    ],
    ids=["conical", "ellipsoidal", "spherical", "torispherical"],
)
def test_standing_cylinder_agrees_with_the_independent_library(head, theirs, depth):
    vessel = VerticalCylinder(1.2, 2.0, head, Head())
    assert depth is None or height(vessel) == 2.0 + depth
    levels = height(vessel) * SHARES
    assert volume_at(vessel, levels) == pytest.approx([theirs(float(h)) for h in levels], rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "number"), [("conical", "conical"), ("torispherical", "torispherical")]
)
def test_whole_vessel_agrees_with_the_independent_library(kind, number):
    theirs = independent.TANK(
        D=1.2,
        L=2.0,
        horizontal=False,
        sideA=number,
        sideB=number,
        sideA_a=0.5 if kind == "conical" else None,
        sideB_a=0.5 if kind == "conical" else None,
        sideA_f=1.0,
        sideA_k=0.06,
        sideB_f=1.0,
        sideB_k=0.06,
    )
    ours = VerticalCylinder(1.2, 2.0, Head(kind, 0.5), Head(kind, 0.5))
    assert height(ours) == pytest.approx(theirs.h_max, rel=1e-12)
    assert capacity(ours) == pytest.approx(theirs.V_total, rel=1e-9)
    for share in (0.05, 0.5, 0.98):
        level = share * theirs.h_max
        assert volume_at(ours, level) == pytest.approx(theirs.V_from_h(level), rel=1e-9)


def test_two_half_balls_are_a_ball():
    ball = volume_at(Sphere(1.2), 1.2 * SHARES)
    for head in (Head("spherical", 0.6), Head("ellipsoidal", 0.6)):
        lying = HorizontalCylinder(1.2, 0.0, head, head)
        standing = VerticalCylinder(1.2, 0.0, head, head)
        assert volume_at(lying, 1.2 * SHARES) == pytest.approx(ball, rel=1e-11)
        assert volume_at(standing, 1.2 * SHARES) == pytest.approx(ball, rel=1e-11)


@pytest.mark.parametrize("vessel", VESSELS, ids=repr)
def test_volume_rises_from_nothing_to_the_capacity(vessel):
    volumes = volume_at(vessel, np.linspace(0, height(vessel), 201))
    assert volumes[0] == pytest.approx(0, abs=1e-15)
    assert volumes[-1] == capacity(vessel)
    assert (np.diff(volumes) > 0).all()


@pytest.mark.parametrize("vessel", VESSELS, ids=repr)
def test_level_undoes_volume(vessel):
    levels = height(vessel) * SHARES
    assert level_of(vessel, volume_at(vessel, levels)) == pytest.approx(levels, rel=1e-7)
    assert level_of(vessel, 0.0) == pytest.approx(0, abs=1e-5)
    # In the tip of a cone 1e-16 of the contents is already 1e-5 of the level.
    assert level_of(vessel, capacity(vessel)) == pytest.approx(height(vessel), rel=1e-5)


@FIXED
@given(st.sampled_from(VESSELS), st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_level_and_volume_are_one_statement(vessel, one, other):
    contents = capacity(vessel) * np.array([one, other])
    levels = level_of(vessel, contents)
    assert volume_at(vessel, levels) == pytest.approx(contents, rel=1e-9)
    assert (levels[0] < levels[1]) == (one < other) or abs(one - other) < 1e-12


@st.composite
def heads(draw, radius):
    """Any end that a cylinder of that radius may have."""
    kind = draw(st.sampled_from(HEADS))
    share = draw(st.floats(0.05, 1.0))
    crown = draw(st.floats(0.5, 2.0))
    knuckle = draw(st.floats(0.01, 0.5))
    return Head(kind, share * radius, crown, knuckle)


@st.composite
def any_vessel(draw):
    """Every shape in any size, from a can to a hall."""
    first, second, third = (draw(st.floats(0.05, 50.0)) for _ in range(3))
    shape = draw(st.sampled_from([Box, Sphere, HorizontalCylinder, VerticalCylinder]))
    if shape is Box:
        return Box(first, second, third)
    if shape is Sphere:
        return Sphere(first)
    length = draw(st.sampled_from([0.0, second]))
    return shape(first, length, draw(heads(first / 2)), draw(heads(first / 2)))


@settings(FIXED, max_examples=150)
@given(any_vessel(), st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_level_and_volume_undo_each_other_in_any_vessel(vessel, one, other):
    assume(capacity(vessel) > 0)  # a cylinder of no length between two flat ends is no tank
    levels = height(vessel) * np.array(sorted([one, other]))
    volumes = volume_at(vessel, levels)
    assert 0 < volumes[0] <= volumes[1] < capacity(vessel)
    assert (volumes[0] < volumes[1]) == (levels[0] < levels[1]) or abs(one - other) < 1e-9
    assert level_of(vessel, volumes) == pytest.approx(levels, abs=1e-8 * height(vessel))
    assert volume_at(vessel, level_of(vessel, volumes)) == pytest.approx(volumes, rel=1e-9)


@pytest.mark.parametrize("vessel", VESSELS, ids=repr)
def test_many_levels_at_once_are_the_single_ones(vessel):
    levels = height(vessel) * SHARES[::5]
    singles = [volume_at(vessel, float(h)) for h in levels]
    assert volume_at(vessel, levels).tolist() == singles
    assert volume_at(vessel, levels.reshape(1, -1)).shape == (1, len(levels))


def test_millimetre_in_a_standing_tank_is_a_litre():
    # Vertical tank of 1.2 m: 1 mm is 1.13 L, so 60 L move the level by 53 mm (plain arithmetic).
    vessel = VerticalCylinder(1.2, 2.0)
    assert volume_at(vessel, 1.001) - volume_at(vessel, 1.0) == pytest.approx(1.131e-3, abs=1e-6)
    assert level_of(vessel, 1.0) - level_of(vessel, 0.94) == pytest.approx(0.0531, abs=1e-4)


def test_concentrate_below_the_inlet_does_not_count():
    # A lying tank with its inlet 25.4 mm up keeps little; at 150 mm it keeps a lot.
    vessel = HorizontalCylinder(1.2, 3.0, DISH, DISH)
    full = capacity(vessel)
    low = usable_volume(vessel, 1.2, LEAST_INLET)
    high = usable_volume(vessel, 1.2, 0.150)
    assert 0.99 * full < low < full
    assert high < 0.94 * full
    assert low + volume_at(vessel, LEAST_INLET) == pytest.approx(full, rel=1e-14)


def test_dry_inlet_leaves_nothing():
    assert usable_volume(Box(1, 1, 1), [0.05, 0.5], 0.1) == pytest.approx([0.0, 0.4])


def test_half_full_is_half_the_volume_where_the_shape_has_two_equal_halves():
    for vessel in (Sphere(1.6), HorizontalCylinder(1.2, 3.0, CONE, DISH), Box(1, 2, 3)):
        middle = volume_at(vessel, height(vessel) / 2)
        assert middle == pytest.approx(capacity(vessel) / 2, rel=1e-12)


def test_cone_and_cylinder_by_hand():
    vessel = VerticalCylinder(2.0, 1.0, Head("conical", 3.0), Head())
    assert capacity(vessel) == pytest.approx(math.pi + math.pi, rel=1e-14)


@pytest.mark.parametrize(
    ("call", "code", "where"),
    [
        (lambda: Sphere(0), "out_of_range", "diameter"),
        (lambda: Sphere(1200), "out_of_range", "diameter"),
        (lambda: Box(1, 1, -1), "out_of_range", "height"),
        (lambda: Box(1, float("nan"), 1), "not_finite", "width"),
        (lambda: HorizontalCylinder(1, -1), "out_of_range", "length"),
        (lambda: HorizontalCylinder(1, 1, Head("dented")), "unknown_choice", "left"),
        (lambda: HorizontalCylinder(1, 1, Head("conical")), "out_of_range", "left.depth"),
        (lambda: VerticalCylinder(1, 1, Head("spherical", 0.6)), "out_of_range", "bottom.depth"),
        (
            lambda: VerticalCylinder(1, 1, Head(), Head("torispherical", crown=0.4)),
            "out_of_range",
            "top.crown",
        ),
        (lambda: volume_at(Sphere(1), 1.01), "out_of_range", "level"),
        (lambda: volume_at(Sphere(1), [0.5, -0.1]), "out_of_range", "level"),
        (lambda: level_of(Sphere(1), 0.6), "out_of_range", "volume"),
        (lambda: usable_volume(Sphere(1), 0.5, 2), "out_of_range", "level"),
    ],
)
def test_impossible_vessel_is_refused_with_a_sentence(call, code, where):
    with pytest.raises(CalcError) as refused:
        call()
    assert (refused.value.code, refused.value.where) == (code, where)
    assert "; give " in str(refused.value)
