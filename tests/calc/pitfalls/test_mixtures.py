"""Slips with samples and standards: what each is worth, and the warning that it raises.

Sizes are arithmetic on percent by volume (MIL-F-24385F 1.2, 3 parts to 97 parts); which slips are
met is common practice, no published source.
"""

import pytest

import calc
from calc.commands import COMMANDS
from calc.concentrate import share_left
from calc.standards import as_made_by_mass, as_made_percent, suggested_percents
from calc.water import water_density, water_index
from tests.calc.benches import readings, standards
from tests.calc.pitfalls.bench import (
    METER,
    STEEP,
    WATER,
    answer,
    codes,
    made_standards,
    shown,
    slope,
    true_bench,
    warned,
)

QUIET = {**METER, "repeatability": 5e-6}  # a good five-decimal meter, read with care


def weak_bench(holding, sample, **changes):
    """Standards that hold less than is written on them; the tank is right."""
    return true_bench(sample=sample, standards=made_standards(holding=holding), **changes)


def test_liquid_left_in_the_pipette_reads_lean_as_nominal_and_is_warned_of():
    # 10 % of a thick liquid stays in the pipette: a true 2.7 % reads 3.0 % on a perfect line.
    bench = weak_bench(0.9, 2.7)
    result = calc.evaluate(bench)
    assert result.line.r == pytest.approx(1, abs=1e-12)
    assert answer(bench).percent == pytest.approx(3.0, abs=1e-6)
    (found,) = warned(bench, "standards_weak")
    assert found.values["off"] == pytest.approx(10, abs=0.01)
    assert "pipette" in found.message


def test_three_grams_called_three_percent_are_warned_of():
    # 3 g in 97 g of water, density 1.05, is 2.86 % by volume.
    made = as_made_by_mass(3, 97, 1.05, water_density(20) / 1000, 0).percent
    assert made == pytest.approx(2.86, abs=0.005)
    bench = weak_bench(made / 3, 3.0, instrument=QUIET)
    assert answer(bench).percent == pytest.approx(9 / made, abs=1e-6)
    (found,) = warned(bench, "standards_weak")
    assert found.values["off"] == pytest.approx(4.7, abs=0.1)


def test_three_added_to_a_hundred_read_three_percent_too_rich_and_are_warned_of():
    # 3 mL *added to* 100 mL is 2.91 %; 3.00 then reads 3.09.
    bench = weak_bench(2.9126 / 3, 3.0, instrument=QUIET)
    assert answer(bench).percent == pytest.approx(3.09, abs=0.005)
    (found,) = warned(bench, "standards_weak")
    assert found.values["off"] == pytest.approx(2.9, abs=0.1)


def test_three_added_to_a_hundred_do_no_harm_when_volumes_as_made_are_given():
    poured = [
        {"concentrate_ml": p, "water_ml": 100, "readings": readings(shown(100 * p / (100 + p)))}
        for p in (2, 3, 4)
    ]
    assert answer(true_bench(sample=3.0, standards=poured)).percent == pytest.approx(3.0, abs=1e-9)


def test_drum_in_the_store_and_diluted_tank_are_told_apart():
    # One part of water in ten in the tank; standards were mixed from the drum.
    bench = true_bench()
    bench["concentrate"] = readings(WATER + 0.9 * (STEEP - WATER))
    (found,) = warned(bench, "standards_strong")
    assert found.values["left"] == pytest.approx(0.9, abs=1e-6)
    assert "90%" in found.message


def test_answer_that_hangs_on_which_concentrate_is_right_is_undecided():
    bench = weak_bench(0.9, 2.85)
    assert (answer(bench).limits, answer(bench).certainty) == ("in band", "undecided")


def test_sample_taken_before_the_mixture_settled_is_not_averaged_in_silence():
    # The first bottle still holds half water (invented), which takes half a point off the mean.
    bench = true_bench(
        samples=[
            {"name": str(i), "flow_point": "design", "readings": readings(shown(percent))}
            for i, percent in enumerate((1.7, 3.4, 3.4))
        ]
    )
    (found,) = warned(bench, "not_steady")
    assert found.values["apart"] == pytest.approx(1.7, abs=1e-6)
    assert found.values["count"] == 3
    assert answer(bench).percent == pytest.approx(3.4 - 1.7 / 3, abs=1e-6)
    assert answer(bench).certainty == "undecided"


@pytest.mark.parametrize(
    ("slip", "water", "reads"),
    [("5 mL of water left in a bottle of 100 mL", 97 + 5, 2.86), ("5 % dried up", 0.95 * 97, 3.15)],
)
def test_what_happens_in_the_bottle_no_reading_shows_so_it_must_be_asked(slip, water, reads):
    bench = true_bench(sample=as_made_percent(3.0, water))
    assert answer(bench).percent == pytest.approx(reads, abs=0.005), slip
    assert codes(calc.evaluate(bench)) == set()


def test_lumps_in_one_standard_show_in_its_own_repeats():
    lumpy = made_standards()
    lumpy[1]["readings"] = readings(shown(2.75), shown(3.25))
    (found,) = warned(true_bench(standards=lumpy), "repeats_apart")
    assert found.where == "$.standards[1]"
    assert found.values["apart"] == pytest.approx(0.5 * slope(STEEP))
    assert "not stirred" in found.message


LOT = {"refractive_index": STEEP, "density": 1020.0}
UNSURE = {"refractive_index": 5e-5, "density": 0.3}


def tank_sample(name, part):
    """A liquid of this part of the lot in water, at 20 °C."""
    pure = {"refractive_index": float(water_index(20)), "density": float(water_density(20))}
    return {"name": name, **{key: pure[key] + part * (LOT[key] - pure[key]) for key in LOT}}


def check(*samples, **changes):
    given = {"temperature_c": 20, "uncertainty": UNSURE, "samples": list(samples), **changes}
    return COMMANDS["check-concentrate"](given)


def test_tank_topped_with_water_is_only_seen_where_both_ends_are_sampled():
    # One part in ten of water floats above: the cock at the bottom alone shows the lot.
    bottom, top = tank_sample("bottom", 1.0), tank_sample("top", 0.9)
    both = check(top, bottom, lot=LOT)
    assert [row["statement"] for row in both["layers"]] == ["stratified", "stratified"]
    assert [row["statement"] for row in both["strength"]] == ["diluted", "no change shown"]
    alone = check(bottom, lot=LOT)
    assert alone["layers"] == []
    assert alone["strength"][0]["statement"] == "no change shown"


def test_two_lots_held_against_one_of_them_look_diluted():
    # A quarter of the tank is a lot of 1.3590: 0.25 × 0.0040/0.0300 is 3.3 % of strength.
    fills = [
        {"volume_l": 300, "refractive_index": STEEP},
        {"volume_l": 100, "refractive_index": STEEP - 0.0040},
    ]
    mixed = {"name": "middle", "refractive_index": STEEP - 0.0010}
    (by_one,) = check(mixed, lot={"refractive_index": STEEP})["strength"]
    (by_both,) = check(mixed, fills=fills)["strength"]
    assert by_one["statement"] == "diluted"
    assert 100 - by_one["share_left_percent"] == pytest.approx(3.3, abs=0.05)
    assert by_both["statement"] == "no change shown"


def test_shell_water_of_a_torn_bladder_holds_concentrate_by_its_index():
    # The shell is filled with water; two parts in a hundred of concentrate are six steps of a
    # four-decimal scale, and a whole bladder shows none.
    water, lot, u = float(water_index(20)), STEEP, 5e-5
    torn = share_left(water + 0.02 * (lot - water), lot, water, u, u, u)
    whole = share_left(water, lot, water, u, u, u)
    assert torn.share == pytest.approx(0.02)
    assert torn.share > 1.96 * torn.u_share
    assert whole.share == pytest.approx(0, abs=1e-12)


def test_agreeing_concentrate_raises_no_warning():
    result = calc.evaluate(true_bench())
    assert result.mixing.verdict == "agree"
    assert codes(result) == set()


def test_swapped_standards_are_named_and_left_as_they_are():
    right = made_standards()
    swapped = [
        {**right[0], "readings": right[1]["readings"]},
        {**right[1], "readings": right[0]["readings"]},
        right[2],
    ]
    bench = true_bench(standards=swapped)
    (found,) = warned(bench, "not_monotonic")
    assert found.where == "$.standards[1]"
    assert "swapped" in found.message
    assert answer(bench).percent != pytest.approx(3.4, abs=0.05)  # proposed, not made
    assert answer(bench).certainty == "undecided"


def test_unstirred_standards_lie_off_the_line_by_more_than_their_repeats():
    # Each bottle repeats itself to a step, but lumps put them 0.5 points off (invented).
    lumpy = [
        {"percent": p, "readings": readings(shown(p + off), shown(p + off) + 1e-5)}
        for p, off in ((2, 0.5), (3, -0.5), (4, 0.4), (5, -0.4))
    ]
    (found,) = warned(true_bench(standards=lumpy), "lack_of_fit")
    assert "fresh standards" in found.message
    stirred = [
        {"percent": p, "readings": readings(shown(p), shown(p) + 1e-5)} for p in (2, 3, 4, 5)
    ]
    assert warned(true_bench(standards=stirred), "lack_of_fit") == []


def test_sample_beyond_the_last_standard_says_how_far():
    bench = true_bench(sample=4.6)
    (found,) = warned(bench, "extrapolation")
    assert found.values["beyond"] == pytest.approx(0.6, abs=1e-6)
    assert (answer(bench).limits, answer(bench).certainty) == ("rich", "undecided")


@pytest.mark.parametrize("nominal", [0.5, 1, 3, 6])
def test_recipe_brackets_the_band_so_that_no_answer_in_it_is_beyond(nominal):
    percents = list(suggested_percents(nominal))
    for sample in (nominal, min(1.3 * nominal, nominal + 1)):
        bench = true_bench(
            sample=sample,
            nominal_percent=nominal,
            standards=standards(percents, [shown(p) for p in percents]),
        )
        assert warned(bench, "extrapolation") == []


def test_one_bottle_alone_leaves_more_open_than_three():
    one = true_bench()
    bottle = one["samples"][0]["readings"]
    three = true_bench(
        samples=[{"name": str(i), "flow_point": "design", "readings": bottle} for i in range(3)]
    )
    alone, together = (high - low for low, high in (answer(b).interval for b in (one, three)))
    assert alone > 1.15 * together


def test_slip_of_one_standard_is_named_and_stays_in_the_line():
    # 0.3 points off in one of six; both fits can be compared, nothing is left out in silence.
    made = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
    values = [shown(p) + jitter for p, jitter in zip(made, [1e-5, -1e-5] * 3, strict=True)]
    values[3] += 4e-4
    bench = true_bench(standards=standards(list(made), values))
    (found,) = warned(bench, "outlier")
    assert found.where == "$.standards[3]"
    assert "keep both readings" in found.message
    assert calc.evaluate(bench).line.degrees_of_freedom == 5  # seven points with water
