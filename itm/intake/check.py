"""Judges typed readings: what cannot be one is refused, what is odd is asked about at once.

A problem says where, a stable code, and what would be right. `judge` looks at one entry alone;
`questions` compares readings with each other, and nothing that it finds keeps one from being saved.
"""

from dataclasses import dataclass
from decimal import Decimal

from itm.core.errors import Refused
from itm.core.quantities import parse_decimal
from itm.intake.fields import (
    MOST_TEMPERATURE_DECIMALS,
    REFRACTIVE_INDEX,
    TEMPERATURE,
    Display,
    Field,
    decimals_of_step,
    decimals_typed,
    looks_like,
    reading_field,
)

HOTTEST_FAHRENHEIT = Decimal(140)  # = 60 °C


@dataclass(frozen=True)
class Problem:
    """`place` is the field or line; `code` is stable; the sentence says what would be right."""

    place: str
    code: str
    sentence: str


@dataclass(frozen=True)
class Judged:
    """One entry: its numbers where they can be taken, else the problems."""

    value: Decimal | None
    temperature_c: Decimal | None
    problems: tuple[Problem, ...]


def judge(
    value_typed: str, temperature_typed: str, display: Display, *, place: str,
    temperature_place: str = "",
) -> Judged:  # fmt: skip
    """One reading as typed, with its temperature; an empty temperature is no problem here.

    Codes: not_a_number, missing, other_scale, decimal_point, out_of_range, finer_than_display,
    between_steps, fahrenheit, too_fine.
    """
    problems: list[Problem] = []
    value = temperature = None
    try:
        value = _reading(value_typed, display, place)
    except Refused as refusal:
        problems.append(Problem(refusal.place, refusal.code, refusal.sentence))
    try:
        temperature = judge_temperature(temperature_typed, temperature_place or place)
    except Refused as refusal:
        problems.append(Problem(refusal.place, refusal.code, refusal.sentence))
    return Judged(value, temperature, tuple(problems))


def _reading(typed: str, display: Display, place: str) -> Decimal:
    field = reading_field(display)
    if not typed.strip():
        raise Refused("missing", f"Write what the display shows, such as {field.example}.", place)
    value = parse_decimal(typed, place=place, what="This reading")
    shown = typed.strip()
    if other := looks_like(value, display):
        if pointed := _with_its_point(value, field, display):
            raise Refused(
                "decimal_point",
                f"{shown} lacks its decimal point: if the display shows {pointed}, write that.",
                place,
            )
        raise Refused(
            "other_scale",
            f"{shown} looks like {other}, but this bench is read as {_scale(field)}: "
            f"{field.range}. Switch the scale, or prepare a bench for the other instrument.",
            place,
        )
    if not field.holds(value):
        raise Refused("out_of_range", f"{shown} is no {field.name}: it is {field.range}.", place)
    _require_shown(value, shown, display, place)
    return value


def _scale(field: Field) -> str:
    return f"{field.name}, {field.unit}" if field.unit else f"{field.name} (nD)"


def _with_its_point(value: Decimal, field: Field, display: Display) -> str:
    """13412 or 13412.0 as 1.3412, where only that reads as an index."""
    if display.method != REFRACTIVE_INDEX or value != value.to_integral_value():
        return ""
    digits = f"{value:.0f}"
    if len(digits) < 4 or not field.holds(Decimal(f"{digits[0]}.{digits[1:]}")):
        return ""
    return f"{digits[0]}.{digits[1:]}"


def _require_shown(value: Decimal, shown: str, display: Display, place: str) -> None:
    """The display has to be able to show the value at all, or the eye to read it."""
    step = display.resolution.normalize()
    most = decimals_of_step(display.resolution)
    if value.quantize(Decimal(1).scaleb(-most)) != value:
        raise Refused(
            "finer_than_display",
            f"{shown} has {decimals_typed(value)} decimals, but {_steps(display)}: write what "
            f"{'you read' if display.interpolated else 'it shows'}, {_decimals(most)}.",
            place,
        )
    if value % step:
        lower = value - value % step
        which, verb = ("scale", "read") if display.interpolated else ("display", "it shows")
        raise Refused(
            "between_steps",
            f"{shown} lies between two steps of this {which} ({display.steps_in_words}): {verb} "
            f"{lower:f} or {lower + step:f}.",
            place,
        )


def _steps(display: Display) -> str:
    if display.interpolated:
        return f"this scale is read to {display.steps_in_words}"
    return f"the display of this instrument has steps of {display.steps_in_words}"


def _decimals(count: int) -> str:
    return "without decimals" if not count else f"with {count} decimal{'s'[: count > 1]}"


def judge_temperature(typed: str, place: str) -> Decimal | None:
    """Of a bottle on the bench, °C; None where none was noted. Raises Refused."""
    if not typed.strip():
        return None
    value = parse_decimal(typed, place=place, what="This temperature")
    if not TEMPERATURE.holds(value):
        if TEMPERATURE.highest < value <= HOTTEST_FAHRENHEIT:
            celsius = (value - 32) * 5 / 9
            raise Refused(
                "fahrenheit",
                f"{typed.strip()} °C is no temperature of a bench; if it is in °F, write "
                f"{celsius:.1f} (°C).",
                place,
            )
        raise Refused(
            "out_of_range",
            f"{typed.strip()} °C is no temperature of a bench: write {TEMPERATURE.range}.",
            place,
        )
    if decimals_typed(value) > MOST_TEMPERATURE_DECIMALS:
        raise Refused(
            "too_fine",
            f"Write the temperature with at most {MOST_TEMPERATURE_DECIMALS} decimals.",
            place,
        )
    return value
