"""A figure of a table in the digits that its cell has."""

from decimal import Decimal

from itm.core.errors import Refused
from itm.core.quantities import THOUSANDS_OR_DECIMAL, parse_decimal
from itm.intake.tables.numbers import BODY


def digits_of(value: Decimal, typed: str) -> str:
    """As the file has it where that is this figure to everybody, else in plain digits: without unit
    and thousands' marks. 1.3400 keeps its zeros."""
    found = BODY.match(typed)
    digits = found["body"].strip() if found else typed
    try:
        plain = not THOUSANDS_OR_DECIMAL.fullmatch(digits) and parse_decimal(digits) == value
    except Refused:
        plain = False
    return digits if plain else f"{value:f}"
