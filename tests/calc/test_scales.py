"""Readings under the name of another scale. Water at 20 °C: nD 1.3330 (check-values B-01 and on);
0 % Brix is water by definition of the scale (ICUMSA)."""

import pytest

import calc
from tests.calc.benches import a_bench, readings, standards, with_samples


def found(bench):
    return [(w.code, w.where) for w in calc.evaluate(bench).warnings]


def brix(**changes):
    rough = {"resolution": 0.01, "repeatability": 0.02, "temperature_compensated": True}
    return a_bench(
        method="brix",
        instrument=rough,
        water=readings(0.0),
        standards=standards([2, 3, 4], [0.4, 0.6, 0.8]),
        concentrate=None,
        samples=with_samples(0.66),
        **changes,
    )


def test_ordinary_readings_of_either_scale_are_not_asked_about():
    for bench in (a_bench(), brix()):
        assert not {"not_an_index", "index_as_brix", "not_brix"} & {c for c, _ in found(bench)}


def test_brix_noted_as_index_is_asked_about_at_its_bottle():
    bench = a_bench(samples=with_samples(1.33396, 4.2))
    assert ("not_an_index", "$.samples[1]") in found(bench)
    assert {r.certainty for r in calc.evaluate(bench).samples} == {"undecided"}


def test_index_noted_as_brix_is_asked_about_and_never_converted():
    bench = {**a_bench(concentrate=None), "method": "brix"}
    assert ("index_as_brix", "$.water") in found(bench)
    assert calc.evaluate(bench).line == calc.evaluate(a_bench(concentrate=None)).line


@pytest.mark.parametrize(("water", "asked"), [(0.5, False), (12.0, True)])
def test_water_that_is_no_water_on_the_brix_scale_is_asked_about(water, asked):
    made = [water + 0.2 * percent for percent in (2, 3, 4)]
    bench = {**brix(), "water": readings(water), "standards": standards([2, 3, 4], made)}
    bench["samples"] = with_samples(water + 0.66)
    assert (("not_brix", "$.water") in found(bench)) == asked
