"""What can be a reading, and what is asked back at once. Figures are our own invention unless a
source stands beside them."""

import math
from dataclasses import dataclass
from decimal import Decimal

import pytest

from itm.intake.check import judge
from itm.intake.fields import decimals_of_step


@dataclass(frozen=True)
class Meter:
    method: str = "refractive_index"
    unit: str = ""
    resolution: Decimal = Decimal("0.0001")
    interpolated: bool = False
    repeatability: Decimal | None = None
    temperature_compensated: bool = False
    compensates_from_c: Decimal | None = None
    compensates_to_c: Decimal | None = None

    @property
    def width(self) -> float:
        """Of a triangle of half width one step, as a rectangle: JCGM 100:2008, 4.3.9."""
        return float(self.resolution) * (math.sqrt(2) if self.interpolated else 1)

    @property
    def steps_in_words(self) -> str:
        return f"{self.resolution.normalize():f} {self.unit}".strip()


INDEX = Meter()
BRIX = Meter("brix", "% Brix", Decimal("0.1"))
MICRO = Meter("conductivity", "µS/cm", Decimal("1"))
MILLI = Meter("conductivity", "mS/cm", Decimal("0.001"))


@pytest.mark.parametrize(
    ("typed", "meter", "value"),
    [
        ("1.3341", INDEX, "1.3341"),
        ("1,3341", INDEX, "1.3341"),
        (" 1.3340 ", INDEX, "1.3340"),
        ("1.334", INDEX, "1.334"),
        ("1.33", INDEX, "1.33"),
        # Water at 20 °C, nD 1.33299: check-values B-08 (IAPWS R9-97).
        ("1.33299", Meter(resolution=Decimal("0.00001")), "1.33299"),
        ("0", BRIX, "0"),
        ("1.4", BRIX, "1.4"),
        ("95", BRIX, "95"),
        ("742", MICRO, "742"),
        ("1 013", MICRO, "1013"),
        ("0.742", MILLI, "0.742"),
    ],
)
def test_reading_that_the_display_can_show_is_taken(typed: str, meter: Meter, value: str) -> None:
    judged = judge(typed, "", meter, place="r")
    assert judged.problems == ()
    assert judged.value == Decimal(value)


@pytest.mark.parametrize(
    ("typed", "meter", "code", "word"),
    [
        ("", INDEX, "missing", "1.3412"),
        ("n/a", INDEX, "not_a_number", "n/a"),
        ("1.33.41", INDEX, "not_a_number", "1.33.41"),
        ("4.2", INDEX, "other_scale", "Brix"),
        ("742", INDEX, "other_scale", "conductivity"),
        ("13412", INDEX, "decimal_point", "1.3412"),
        ("1.8", INDEX, "other_scale", "Brix"),
        ("-1.3341", INDEX, "out_of_range", "1.3 to 1.7"),
        ("1.33412", INDEX, "finer_than_display", "4 decimals"),
        ("1.3342", Meter(resolution=Decimal("0.0005")), "between_steps", "1.3340 or 1.3345"),
        ("1.3391", BRIX, "other_scale", "refractive index"),
        ("96", BRIX, "other_scale", "conductivity"),
        ("-0.1", BRIX, "out_of_range", "0 to 95"),
        ("1.45", BRIX, "finer_than_display", "1 decimal"),
        ("0", MICRO, "out_of_range", "above 0"),
        ("1.3391", MICRO, "other_scale", "refractive index"),
        ("742.5", MICRO, "finer_than_display", "without decimals"),
        ("1000.001", MILLI, "out_of_range", "1000"),
    ],
)
def test_what_cannot_be_a_reading_is_refused_with_what_would_be_right(
    typed: str, meter: Meter, code: str, word: str
) -> None:
    (problem,) = judge(typed, "", meter, place="r").problems
    assert (problem.place, problem.code) == ("r", code)
    assert word in problem.sentence


@pytest.mark.parametrize(
    ("typed", "value"), [("", None), ("20", "20"), ("20,4", "20.4"), ("-5", "-5"), ("60", "60")]
)
def test_temperature_of_a_bench_is_taken(typed: str, value: str | None) -> None:
    judged = judge("1.3341", typed, INDEX, place="r", temperature_place="t")
    assert judged.problems == ()
    assert judged.temperature_c == (None if value is None else Decimal(value))


@pytest.mark.parametrize(
    ("typed", "code", "word"),
    [
        ("68", "fahrenheit", "20.0"),  # 68 °F = 20 °C, by the definition of the scale
        ("-6", "out_of_range", "-5 to 60"),
        ("200", "out_of_range", "-5 to 60"),
        ("20.123", "too_fine", "2 decimals"),
        ("warm", "not_a_number", "warm"),
    ],
)
def test_temperature_that_no_bench_has_is_refused_at_its_own_place(
    typed: str, code: str, word: str
) -> None:
    judged = judge("1.3341", typed, INDEX, place="r", temperature_place="t")
    (problem,) = judged.problems
    assert (problem.place, problem.code) == ("t", code)
    assert word in problem.sentence
    assert judged.value == Decimal("1.3341")


def test_both_halves_of_an_entry_are_judged_at_once() -> None:
    problems = judge("4.2", "68", INDEX, place="r", temperature_place="t").problems
    assert [(p.place, p.code) for p in problems] == [("r", "other_scale"), ("t", "fahrenheit")]


@pytest.mark.parametrize(
    ("step", "decimals"),
    [("0.000100", 4), ("0.0005", 4), ("0.1", 1), ("1", 0), ("10.000", 0), ("0.00001", 5)],
)
def test_decimals_of_a_display_come_from_its_step(step: str, decimals: int) -> None:
    assert decimals_of_step(Decimal(step)) == decimals
