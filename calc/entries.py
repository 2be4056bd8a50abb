"""One entry of a form: JSON text to plain data, and each kind of entry checked at its path."""

import json
import math
from decimal import Decimal
from typing import Any, NoReturn

from calc.errors import CalcError, quoted

LONGEST_INPUT = 16 * 1024 * 1024  # bytes, own choice: about a hundred thousand readings
LARGEST_INTEGER = 2**53 - 1  # RFC 7493, 2.2: beyond it a double does not hold every integer
MAY_BE_NULL = ("repeatability", "temperature_c", "concentrate")


class Repeated(dict):
    """A JSON object in which one key stood twice; refused where the form reaches it."""

    key: str


def load(data: bytes) -> Any:
    """Plain data from JSON bytes (UTF-8, with or without a byte order mark).

    Raises: too_long, empty_input, not_utf8, not_json, nested_too_deep.
    """
    if len(data) > LONGEST_INPUT:
        raise CalcError("too_long", "$", most=LONGEST_INPUT)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CalcError("not_utf8", "$", byte=error.start + 1) from None
    if not text.strip():
        raise CalcError("empty_input", "$")
    try:
        return json.loads(text, object_pairs_hook=_object, parse_int=_integer)
    except json.JSONDecodeError as error:
        raise CalcError("not_json", "$", line=error.lineno, column=error.colno) from None
    except RecursionError:
        raise CalcError("nested_too_deep", "$") from None


def keys_at(
    given: Any, where: str, required: tuple[str, ...], optional: tuple[str, ...] = ()
) -> dict[str, Any]:
    """The object at a place, with every required key and no key beyond the two lists."""
    known = ", ".join(required + optional)
    if not isinstance(given, dict):
        raise CalcError("not_an_object", where, got=_shown(given), keys=known)
    for key in given:
        if key not in required and key not in optional:
            raise CalcError("unknown_key", where, key=quoted(str(key)), keys=known)
    if isinstance(given, Repeated):
        raise CalcError("repeated_key", f"{where}.{given.key}")
    for key in required:
        if key not in given:
            hint = ", with null when there is none" if key in MAY_BE_NULL else ""
            raise CalcError("missing_key", f"{where}.{key}", hint=hint)
    return given


def list_at(given: Any, where: str) -> list[Any] | tuple[Any, ...]:
    if not isinstance(given, (list, tuple)):
        raise CalcError("not_a_list", where, got=_shown(given))
    if not given:
        raise CalcError("empty_list", where)
    return given


def number_at(given: Any, where: str) -> float:
    if isinstance(given, bool) or not isinstance(given, (int, float, Decimal)):
        raise CalcError("not_a_number", where, got=_shown(given))
    if isinstance(given, int) and abs(given) > LARGEST_INTEGER:
        raise CalcError("integer_too_big", where)
    if isinstance(given, Decimal) and not given.is_finite():
        raise CalcError("not_finite", where)
    number = float(given)
    if not math.isfinite(number):
        raise CalcError("not_finite", where)
    return number + 0.0  # -0.0 becomes 0.0


def positive_at(given: Any, where: str) -> float:
    number = number_at(given, where)
    if not number > 0:
        refuse_range(where, number, "a number above 0, in the unit of the readings")
    return number


def percent_at(given: Any, where: str) -> float:
    number = number_at(given, where)
    if not 0 < number <= 100:
        refuse_range(where, number, "above 0 and at most 100 percent")
    return number


def volume_at(given: Any, where: str) -> float:
    number = number_at(given, where)
    if not 0 <= number <= 1e9:
        refuse_range(where, number, "a volume from 0 to 1e9 mL")
    return number


def mass_at(given: Any, where: str) -> float:
    number = number_at(given, where)
    if not 0 <= number <= 1e9:
        refuse_range(where, number, "a mass from 0 to 1e9 g")
    return number


def text_at(given: Any, where: str) -> str:
    if not isinstance(given, str):
        raise CalcError("not_text", where, got=_shown(given))
    if not given.strip():
        raise CalcError("blank_text", where)
    if any("\ud800" <= character <= "\udfff" for character in given):
        raise CalcError("broken_text", where)
    return given


def flag_at(given: Any, where: str) -> bool:
    if not isinstance(given, bool):
        raise CalcError("not_a_flag", where, got=_shown(given))
    return given


def choice_at(given: Any, where: str, known: tuple[str, ...], more: str = "") -> str:
    if not isinstance(given, str) or given not in known:
        choices = ", ".join(f'"{choice}"' for choice in known) + more
        raise CalcError("unknown_choice", where, got=_shown(given), choices=choices)
    return given


def refuse_range(where: str, number: float, want: str) -> NoReturn:
    raise CalcError("out_of_range", where, got=f"{number:g}", want=want)


def _shown(given: Any) -> str:
    """What stands there, in a few words and without looking inside."""
    if isinstance(given, str):
        return f"the text {quoted(given)}"
    if isinstance(given, bool) or given is None:
        return {True: "true", False: "false", None: "null"}[given]
    if isinstance(given, (int, float, Decimal)):
        return "a number"
    if isinstance(given, dict):
        return "an object"
    return "a list" if isinstance(given, (list, tuple)) else "not JSON data"


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """JSON object; a repeated key is kept in mind until its path is known."""
    entries = dict(pairs)
    if len(entries) == len(pairs):
        return entries
    seen: set[str] = set()
    repeated = Repeated(entries)
    repeated.key = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return repeated


def _integer(digits: str) -> int:
    return int(digits[:20])  # 20 characters are beyond the largest integer already
