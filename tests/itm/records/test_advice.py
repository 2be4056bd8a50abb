"""What would settle it: each step named is tried on the engine itself. Figures are our own."""

import copy

import pytest

import calc
from itm.records.advice import display, what_would_settle

SLOPE, WATER = 3e-4, 1.333
COUNT = {"one": 1, "two": 2, "three": 3, "four": 4}


def form(
    design: float, *, resolution: float = 1e-5, repeatability: float | None = 6e-5,
    standards: tuple[float, ...] = (2, 3, 4), bottles: int = 1, p: float | None = 0.9,
) -> dict:  # fmt: skip
    """Readings that lie on their line to the last bit."""

    def readings(percent: float) -> list[dict]:
        return [{"value": WATER + SLOPE * percent, "temperature_c": 20.0}]

    return {
        "method": "refractive_index",
        "nominal_percent": 3.0,
        "criterion": "common",
        "instrument": {
            "resolution": resolution,
            "repeatability": repeatability,
            "temperature_compensated": False,
        },
        "water": readings(0),
        "standards": [{"percent": x, "readings": readings(x)} for x in standards],
        "concentrate": None,
        "samples": [
            {"name": f"D{n}", "flow_point": "design", "readings": readings(design)}
            for n in range(bottles)
        ],
        "include_water": True,
        "fit": "ordinary",
        "verdict_probability": p,
    }


def result(inputs: dict) -> dict:
    return calc.evaluate(inputs).as_dict()


def certainty(inputs: dict) -> str:
    return result(inputs)["flow_points"][0]["certainty"]


def advice(inputs: dict) -> str:
    return what_would_settle(inputs, result(inputs))["design"]


def with_standards(inputs: dict, more: int, at: float) -> dict:
    out = copy.deepcopy(inputs)
    reading = {"value": WATER + SLOPE * at, "temperature_c": 20.0}
    out["standards"] += [{"percent": at, "readings": [reading]} for _ in range(more)]
    return out


def test_settled_answers_ask_for_nothing() -> None:
    inputs = form(3.4, repeatability=2e-5)
    assert certainty(inputs) == "settled"
    assert what_would_settle(inputs, result(inputs)) == {}


def test_simple_acceptance_asks_for_nothing() -> None:
    inputs = form(3.88, p=None)
    assert what_would_settle(inputs, result(inputs)) == {}


def test_repeats_that_are_named_settle_it_on_the_engine() -> None:
    inputs = form(3.1, repeatability=None)
    assert certainty(inputs) == "undecided"
    assert "two more readings of every bottle" in advice(inputs)
    again = copy.deepcopy(inputs)
    for bottle in (*again["standards"], *again["samples"]):
        bottle["readings"] *= 3
    again["water"] *= 3
    assert certainty(again) == "settled"


def test_fewest_standards_that_are_named_settle_it_on_the_engine() -> None:
    inputs = form(3.2, resolution=1e-4, repeatability=4e-5, p=0.95)
    assert certainty(inputs) == "undecided"
    words = advice(inputs)
    number = COUNT[words.split()[3]]
    assert "standard" in words
    assert certainty(with_standards(inputs, number, 3.2)) == "settled"
    assert certainty(with_standards(inputs, number - 1, 3.2)) == "undecided"


def test_sample_bottles_that_are_named_settle_it_on_the_engine() -> None:
    more = {
        "resolution": 1e-4,
        "repeatability": 8e-5,
        "standards": (2, 2.5, 3, 3.5, 4, 4.5),
        "p": 0.95,
    }
    inputs = form(3.2, **more)
    assert certainty(inputs) == "undecided"
    words = advice(inputs)
    number = COUNT[words.split()[3]]
    assert "sample bottle" in words
    assert certainty(form(3.2, bottles=1 + number, **more)) == "settled"
    assert certainty(form(3.2, bottles=number, **more)) == "undecided"


def test_coarse_display_is_named_where_it_hides_the_answer() -> None:
    inputs = form(3.1, resolution=1e-4, repeatability=2e-5)
    assert certainty(inputs) == "undecided"
    assert "0.00001 or finer" in advice(inputs)
    finer = form(3.1, resolution=1e-5, repeatability=2e-5)
    assert certainty(finer) == "settled"


def test_open_question_comes_before_more_bottles() -> None:
    inputs = form(4.6)  # far beyond the last standard and surely rich
    found = result(inputs)["flow_points"][0]
    assert found["probability_of_limits"] > 0.9
    assert found["certainty"] == "undecided"
    assert "warning" in advice(inputs)


@pytest.mark.parametrize("design", [3.899, 3.901, 2.999, 3.0])
def test_answer_too_near_a_limit_says_so(design: float) -> None:
    words = advice(form(design, repeatability=8e-5))
    assert "No few bottles would settle it" in words
    assert ("3.9 %" if design > 3.5 else "3 %") in words


def test_who_reads_a_scale_by_eye_is_told_of_the_scale_and_offered_a_display() -> None:
    """A triangle of one read part to either side (JCGM 100, 4.3.9): wider than a display's step, so
    what hides the answer is the part that is read, and the step that is named is a display's."""
    inputs = form(3.1, resolution=1e-4, repeatability=2e-5)
    inputs["instrument"]["interpolated"] = True
    assert certainty(inputs) == "undecided"
    words = advice(inputs)
    assert "a display with steps of 0.00001 or finer" in words
    assert "the part of a division that is read by eye hides the answer" in words
    assert "the step of this one" not in words
    bought = {**inputs, "instrument": display(inputs["instrument"], 1e-5)}
    assert "interpolated" not in bought["instrument"]
    assert certainty(bought) == "settled"
