"""Arguments of the engine's functions: numbers in their range as arrays, or a refusal."""

from typing import Any

import numpy as np

from calc.errors import CalcError, quoted


def numbers(where: str, values: Any) -> Any:
    """Finite numbers, a float for one and an array for many. Raises: not_a_number, not_finite."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise CalcError("not_a_number", where, got=quoted(str(values))) from None
    if not np.isfinite(array).all():
        raise CalcError("not_finite", where)
    return array[()]


def within(where: str, values: Any, least: float, most: float, want: str) -> Any:
    """Numbers from least to most, both allowed. Raises: not_a_number, not_finite, out_of_range."""
    array = numbers(where, values)
    _refuse(where, array, (array < least) | (array > most), want)
    return array


def positive(where: str, values: Any) -> Any:
    """Numbers above 0. Raises: not_a_number, not_finite, out_of_range."""
    array = numbers(where, values)
    _refuse(where, array, array <= 0, "a number above 0")
    return array


def not_negative(where: str, values: Any) -> Any:
    """Numbers from 0 up. Raises: not_a_number, not_finite, out_of_range."""
    array = numbers(where, values)
    _refuse(where, array, array < 0, "0 or a number above 0")
    return array


def one_shape(where: str, *values: Any) -> None:
    """Lists that go together, a single number with any of them. Raises: shapes_differ."""
    try:
        np.broadcast_shapes(*[np.shape(value) for value in values])
    except ValueError:
        raise CalcError("shapes_differ", where) from None


def finite(where: str, result: Any) -> Any:
    """A result that is still a number. Raises: beyond_numbers."""
    if not np.isfinite(result).all():
        raise CalcError("beyond_numbers", where)
    return result


def _refuse(where: str, array: Any, wrong: Any, want: str) -> None:
    if np.any(wrong):
        got = float(np.asarray(array)[np.asarray(wrong)].flat[0])
        raise CalcError("out_of_range", where, got=got, want=want)
