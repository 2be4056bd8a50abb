"""Odd readings are asked about, ordinary ones are not. Figures are our own invention."""

from dataclasses import replace
from decimal import Decimal

import pytest

from itm.intake.doubts import Read, questions
from tests.itm.intake.test_check import BRIX, INDEX, MICRO, Meter

FINE = Meter(resolution=Decimal("0.00001"), repeatability=Decimal("0.00002"))


def bench(*given: tuple[str, str, float | None, str], temperature: str = "20") -> list[Read]:
    """(bottle, role, percent, value) in the order of reading."""
    return [
        Read(f"r{i}", bottle, role, percent, i, Decimal(value), Decimal(temperature))
        for i, (bottle, role, percent, value) in enumerate(given, 1)
    ]


USUAL = (
    ("water", "water", 0.0, "1.33300"),
    ("S1", "standard", 2.0, "1.33360"),
    ("S2", "standard", 3.0, "1.33391"),
    ("S3", "standard", 4.0, "1.33419"),
    ("M1", "sample", None, "1.33396"),
    ("M1", "sample", None, "1.33398"),
    ("C", "concentrate", None, "1.36300"),
)


def codes(readings: list[Read], meter: Meter) -> list[tuple[str, str]]:
    return [(p.place, p.code) for p in questions(readings, meter)]


def test_usual_bench_raises_no_question() -> None:
    assert codes(bench(*USUAL), FINE) == []


def test_replicate_far_from_its_neighbours_is_asked_about_and_its_swap_suggested() -> None:
    read = bench(*USUAL, ("M1", "sample", None, "1.33936"))
    (asked,) = questions(read, FINE)
    assert (asked.place, asked.code) == ("r8", "replicate")
    assert "1.33396" in asked.sentence


def test_of_two_replicates_the_later_one_is_asked_about() -> None:
    read = bench(*USUAL[:4], ("M1", "sample", None, "1.33350"), ("M1", "sample", None, "1.33396"))
    assert codes(read, FINE) == [("r6", "replicate")]


def test_replicates_within_two_steps_of_a_coarse_display_are_not_asked_about() -> None:
    read = bench(("M1", "sample", None, "1.3339"), ("M1", "sample", None, "1.3341"))
    assert codes(read, INDEX) == []


def test_what_an_eye_reads_between_marks_may_differ_by_more_than_a_display_of_its_step() -> None:
    """The triangle of JCGM 100:2008, 4.3.9 is wider than a rectangle of the step by √2."""
    read = bench(("M1", "sample", None, "2.00"), ("M1", "sample", None, "2.15"))
    display = Meter("brix", "% Brix", Decimal("0.05"))
    by_eye = replace(display, interpolated=True)
    assert codes(read, display) == [("r2", "replicate")]
    assert codes(read, by_eye) == []
    wider = bench(("M1", "sample", None, "2.00"), ("M1", "sample", None, "2.20"))
    assert codes(wider, by_eye) == [("r2", "replicate")]
    known = {"repeatability": Decimal("0.01")}  # 3.5·√2·√(0.05²/12 + 0.01²) is 0.087
    nearer = bench(("M1", "sample", None, "2.00"), ("M1", "sample", None, "2.10"))
    assert codes(nearer, replace(display, **known)) == [("r2", "replicate")]
    assert codes(nearer, replace(by_eye, **known)) == []


def test_reading_right_after_the_concentrate_is_told_to_wash_the_prism() -> None:
    read = bench(*USUAL, ("M1", "sample", None, "1.33777"))
    (asked,) = questions(read, FINE)
    assert "wash the prism" in asked.sentence


def test_standard_whose_swapped_digits_lie_on_the_line_is_suggested() -> None:
    read = bench(*USUAL[:3], ("S3", "standard", 4.0, "1.33491"))
    (asked,) = [q for q in questions(read, FINE) if q.place == "r4"]
    assert asked.code == "off_line"
    assert "1.33419" in asked.sentence


def test_standard_off_the_line_without_a_swap_is_left_to_the_result() -> None:
    read = bench(*USUAL[:3], ("S3", "standard", 4.0, "1.33450"))
    assert codes(read, FINE) == []


@pytest.mark.parametrize(("value", "word"), [("1.33250", "below the water"), ("1.38800", "above")])
def test_sample_outside_water_and_concentrate_is_asked_about(value: str, word: str) -> None:
    read = bench(*USUAL[:4], USUAL[6], ("D1", "sample", None, value))
    (asked,) = questions(read, FINE)
    assert (asked.place, asked.code) == ("r6", "outside_range")
    assert word in asked.sentence


def test_conductivity_above_that_of_the_concentrate_is_no_question() -> None:
    read = bench(
        ("water", "water", 0.0, "560"),
        ("C", "concentrate", None, "700"),
        ("D1", "sample", None, "742"),
    )
    assert codes(read, MICRO) == []


def test_thousandfold_beside_its_neighbours_is_asked_about_never_converted() -> None:
    # 0.86 typed as mS/cm beside 860 µS/cm: the slip of a meter that switches its range.
    read = bench(
        ("water", "water", 0.0, "560"),
        ("S1", "standard", 2.0, "800"),
        ("D1", "sample", None, "1"),
    )
    assert ("r3", "other_range") in codes(read, MICRO)


@pytest.mark.parametrize("typed", ["1.334", "1.33400"])
def test_fewer_or_more_decimals_than_the_display_are_asked_about(typed: str) -> None:
    assert codes(bench(("M1", "sample", None, typed)), INDEX) == [("r1", "digits")]


def test_decimals_of_the_display_are_no_question() -> None:
    assert codes(bench(("M1", "sample", None, "1.4")), BRIX) == []


@pytest.mark.parametrize(
    ("celsius", "asked"), [("20.9", False), ("21.0", True), ("18.5", True), ("19.1", False)]
)
def test_bottle_from_one_degree_apart_is_asked_about(celsius: str, asked: bool) -> None:
    read = bench(*USUAL[:5])
    read[4] = replace(read[4], temperature_c=Decimal(celsius))
    assert codes(read, FINE) == ([("r5", "temperature_apart")] if asked else [])


def test_compensating_instrument_is_not_asked_about_temperature() -> None:
    read = bench(*USUAL[:5])
    read[4] = replace(read[4], temperature_c=Decimal("25"))
    assert codes(read, replace(FINE, temperature_compensated=True)) == []


@pytest.mark.parametrize(("temperature", "asked"), [
    ("9.9", True), ("10.0", False), ("30.0", False), ("30.1", True),
])  # fmt: skip
def test_temperature_beyond_the_range_of_compensation_is_asked_about(
    temperature: str, asked: bool
) -> None:
    """The ends belong to the range; an instrument without one is not asked."""
    read = bench(*USUAL[:5])
    read[4] = replace(read[4], temperature_c=Decimal(temperature))
    follows = replace(
        FINE, temperature_compensated=True, compensates_from_c=Decimal(10),
        compensates_to_c=Decimal(30),
    )  # fmt: skip
    assert codes(read, follows) == ([("r5", "beyond_compensation")] if asked else [])
    assert codes(read, replace(follows, compensates_to_c=None, compensates_from_c=None)) == []
