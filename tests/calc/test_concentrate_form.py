"""`check-concentrate` from its form. All liquids are invented; the arithmetic is by hand."""

import pytest

from calc.water import water_density, water_index
from tests.calc.test_commands import answered, path_of_refusal

N_WATER, D_WATER = float(water_index(20.0)), float(water_density(20.0))


def diluted(part):
    return {
        "refractive_index": N_WATER + part * (1.3630 - N_WATER),
        "density": D_WATER + part * (1020.0 - D_WATER),
    }


def a_check(*samples, **changed):
    given = {
        "temperature_c": 20,
        "lot": {"refractive_index": 1.3630, "density": 1020.0},
        "uncertainty": {"refractive_index": 5e-5, "density": 0.3},
        "samples": [{"name": f"sample {i}", **sample} for i, sample in enumerate(samples)],
        **changed,
    }
    return {key: value for key, value in given.items() if value is not None}


def test_diluted_tank_and_right_proportioner_are_two_statements():
    solution = {"percent": 3.0, "standard_uncertainty": 0.05, "standards_from": "tank"}
    found = answered("check-concentrate", a_check(diluted(0.9), solution=solution))
    (left,) = found["strength"]
    assert left["statement"] == "diluted"
    assert left["share_left_percent"] == pytest.approx(90, abs=1e-6)
    assert [part["property"] for part in left["by"]] == ["refractive_index", "density"]
    assert found["solution"]["percent"] == 3.0
    assert found["solution"]["percent_of_lot"]["percent"] == pytest.approx(2.7, abs=1e-6)


def test_only_one_of_the_two_moved_is_another_liquid():
    sample = {**diluted(0.9), "density": 1020.0}
    assert answered("check-concentrate", a_check(sample))["strength"][0]["statement"] == (
        "not water alone"
    )


def test_properties_are_held_against_lot_and_programmes():
    lot = {"ranges": {"density": {"lowest": 1010, "highest": 1030}}}
    sample = {"density": 1009.0, "ph": 9.6, "sediment_percent": 0.25}
    given = a_check(sample, lot=lot, programmes=["ships", "european"])
    found = answered("check-concentrate", given)["properties"]
    sides = {(row["limits_of"], row["property"]): row["statement"] for row in found}
    assert sides == {
        ("lot", "density"): "below",
        ("ships", "ph"): "above",
        ("ships", "sediment_percent"): "within",
        ("european", "ph"): "above",
        ("european", "sediment_percent"): "within",
    }
    assert all(row["source"] and row["confidence"] for row in found)


def a_limit(**changed):
    row = {
        "property": "conductivity_ms_cm",
        "of": "maker",
        "lowest": 3,
        "highest": "5.0",
        "source": "data sheet",
        "confidence": "as given",
        **changed,
    }
    return {key: value for key, value in row.items() if value is not None}


def test_limits_by_value_are_held_beside_those_of_lot_and_programmes():
    lot = {"ranges": {"ph": {"highest": 8}}}
    sample = {"ph": 7.9, "conductivity_ms_cm": 5.01}
    given = a_check(sample, lot=lot, programmes=["ships"], limits=[a_limit()])
    found = answered("check-concentrate", given)["properties"]
    assert [(row["limits_of"], row["statement"]) for row in found] == [
        ("lot", "within"),
        ("ships", "within"),
        ("maker", "above"),
    ]
    assert (found[2]["lowest"], found[2]["highest"]) == (3.0, 5.0)
    assert (found[2]["source"], found[2]["confidence"]) == ("data sheet", "as given")


def test_top_and_bottom_that_differ_are_layers_unless_circulated():
    given = a_check(diluted(0.97), diluted(1.0))  # 9e-4 of index, 0.65 kg/m³ of density
    found = answered("check-concentrate", given)["layers"]
    assert [row["statement"] for row in found] == ["stratified", "no layers shown"]
    assert answered("check-concentrate", {**given, "circulated": True})["layers"] == []


def test_fills_give_the_baseline_of_the_tank():
    # 300 L of 1.3630 and 100 L of 1.3590 make 1.3620.
    fills = [
        {"volume_l": 300, "refractive_index": 1.3630},
        {"volume_l": 100, "refractive_index": 1.3590},
    ]
    given = a_check({"refractive_index": 1.3620}, lot=None, fills=fills)
    found = answered("check-concentrate", given)
    assert found["baseline"]["refractive_index"]["value"] == pytest.approx(1.3620)
    assert found["strength"][0]["statement"] == "no change shown"


def test_without_a_baseline_there_is_no_strength():
    solution = {"percent": 3.0, "standard_uncertainty": 0.05, "standards_from": "lot"}
    found = answered("check-concentrate", a_check(diluted(0.9), lot=None, solution=solution))
    assert found["strength"] == []
    assert found["solution"] == {"percent": 3.0, "percent_of_lot": None}


@pytest.mark.parametrize(
    ("changed", "path"),
    [
        ({"temperature_c": 60}, "$.temperature_c"),
        ({"samples": []}, "$.samples"),
        ({"samples": [{"name": "top"}]}, "$.samples[0]"),
        ({"samples": [{"name": "top", "colour": 1}]}, "$.samples[0]"),
        ({"samples": [{"name": "top", "refractive_index": 1020}]}, "$.samples[0].refractive_index"),
        ({"samples": [{"name": "top", "ph": "7"}]}, "$.samples[0].ph"),
        ({"samples": [{"name": "top", "ph": 7}] * 2}, "$.samples[1].name"),
        ({"samples": [{"name": "top", "ph": 7}] * 21}, "$.samples"),
        ({"lot": {"density": 998.3}}, "$.lot"),
        ({"lot": {"ranges": {"ph": {}}}}, "$.lot.ranges.ph"),
        ({"fills": [{"volume_l": 1, "density": 1020}]}, "$.fills"),
        ({"lot": None, "fills": [{"volume_l": 0}]}, "$.fills[0].volume_l"),
        ({"uncertainty": {"density": 0}}, "$.uncertainty.density"),
        ({"programmes": ["lakes"]}, "$.programmes[0]"),
        ({"limits": []}, "$.limits"),
        ({"limits": [a_limit(of=None)]}, "$.limits[0].of"),
        ({"limits": [a_limit(property="colour")]}, "$.limits[0].property"),
        ({"limits": [a_limit(lowest=6)]}, "$.limits[0]"),
        ({"limits": [a_limit(lowest=None, highest=None)]}, "$.limits[0]"),
        ({"circulated": "yes"}, "$.circulated"),
        (
            {"solution": {"percent": 3, "standard_uncertainty": 0.1, "standards_from": "drum"}},
            "$.solution.standards_from",
        ),
        (
            {"solution": {"percent": 3, "standard_uncertainty": 0, "standards_from": "lot"}},
            "$.solution.standard_uncertainty",
        ),
    ],
)
def test_impossible_check_is_refused_at_its_place(changed, path):
    assert path_of_refusal("check-concentrate", a_check(diluted(1.0), **changed)) == path
