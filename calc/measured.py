"""A percent found by any way but the line, with one kind of result for all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import finite
from calc.student import coverage_factor
from calc.sums import ordered_sum


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution to a standard uncertainty, already in percent by volume."""

    name: str
    u_percent: Any
    degrees_of_freedom: Any = np.inf


@dataclass(frozen=True, slots=True)
class Measured:
    """A percent by volume; arrays of one shape. low and high bound the two-sided 95 % interval."""

    percent: Any
    u_percent: Any
    degrees_of_freedom: Any
    low: Any
    high: Any
    parts: tuple[Part, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data of a single result; infinite degrees of freedom are null."""
        dof = float(self.degrees_of_freedom)
        return {
            "percent": float(self.percent),
            "standard_uncertainty": float(self.u_percent),
            "degrees_of_freedom": dof if np.isfinite(dof) else None,
            "interval": [float(self.low), float(self.high)],
        }


def effective_degrees_of_freedom(u_parts: Sequence[Any], dof_parts: Sequence[Any]) -> Any:
    """Degrees of freedom of the root sum of squares of independent contributions.

    Parameters
    ----------
    u_parts : sequence of array_like, >= 0, one unit. Standard uncertainties, sensitivity included.
    dof_parts : sequence of array_like, > 0, one each; infinity for a value that is simply known.

    Returns
    -------
    Degrees of freedom, broadcast shape; infinity when nothing is uncertain.

    Notes: (Σ u²)²/Σ(u⁴/ν), not truncated.
    Source: JCGM 100:2008, G.4.1, equation (G.2b). Check:
    fixtures/reference/check-values.json A-11.
    """
    squares = [np.square(u) for u in u_parts]
    total = ordered_sum(np.stack(np.broadcast_arrays(*squares)))
    terms = [square * square / dof for square, dof in zip(squares, dof_parts, strict=True)]
    spread = ordered_sum(np.stack(np.broadcast_arrays(*terms)))
    with np.errstate(divide="ignore"):
        return np.where(spread > 0, total * total / np.where(spread > 0, spread, 1), np.inf)[()]


def measured(percent: Any, parts: Sequence[Part]) -> Measured:
    """A result from its value and its budget.

    Parameters
    ----------
    percent : array_like, % by volume.
    parts : at least one, independent of each other.

    Returns
    -------
    Measured, broadcast shape, two-sided 95 %.

    Raises: beyond_numbers.
    Notes: root sum of squares, effective degrees of freedom, Student's factor.
    Source: JCGM 100:2008, 5.1.2 and G.4. Check: tests/calc/test_measured.py.
    """
    u_parts = [part.u_percent for part in parts]
    squares = np.stack(np.broadcast_arrays(*[np.square(u) for u in u_parts]))
    u_percent = finite("u_percent", np.sqrt(ordered_sum(squares)))
    dof = effective_degrees_of_freedom(u_parts, [part.degrees_of_freedom for part in parts])
    expanded = coverage_factor(dof) * u_percent
    return Measured(
        percent=finite("percent", percent),
        u_percent=u_percent,
        degrees_of_freedom=dof,
        low=percent - expanded,
        high=percent + expanded,
        parts=tuple(parts),
    )
