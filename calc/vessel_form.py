"""A vessel from plain data: which shape, and the sizes that this shape has."""

from typing import Any

from calc.entries import choice_at, keys_at, positive_at
from calc.errors import CalcError
from calc.vessels import (
    ELLIPSOIDAL,
    FLAT,
    TORISPHERICAL,
    Box,
    Head,
    HorizontalCylinder,
    Sphere,
    VerticalCylinder,
    Vessel,
)

STANDING, LYING, SPHERE, BOX = "standing_cylinder", "lying_cylinder", "sphere", "box"
# Each shape with its sizes, in m; the length of a cylinder is that without its heads.
SHAPES: dict[str, tuple[str, ...]] = {
    STANDING: ("diameter", "length", "heads"),
    LYING: ("diameter", "length", "heads"),
    SPHERE: ("diameter",),
    BOX: ("length", "width", "height"),
}
HEADS = (FLAT, ELLIPSOIDAL, TORISPHERICAL)
HALF_ELLIPSE = 0.25  # depth over diameter of the usual 2:1 head; ASME VIII-1 UG-32, from memory


def vessel_at(given: Any, where: str) -> Vessel:
    """A vessel of ideal shape; both heads of a cylinder are of one kind.

    Parameters
    ----------
    given : dict with shape, and the sizes of that shape in m; heads are flat, ellipsoidal (2:1) or
        torispherical (dish as wide as the cylinder, bend of 6 % of it).

    Returns
    -------
    Vessel.

    Raises: unknown_choice, unknown_key, missing_key, not_a_number, not_finite, out_of_range.
    Source: geometry of each shape, as calc.vessels. Check: tests/calc/test_direct_form.py.
    """
    if not isinstance(given, dict) or "shape" not in given:
        keys_at(given, where, ("shape",), tuple(given) if isinstance(given, dict) else ())
    shape = choice_at(given["shape"], f"{where}.shape", tuple(SHAPES))
    entries = keys_at(given, where, ("shape", *SHAPES[shape]))
    sizes = {
        name: positive_at(entries[name], f"{where}.{name}")
        for name in SHAPES[shape]
        if name != "heads"
    }
    try:
        if shape == SPHERE:
            return Sphere(**sizes)
        if shape == BOX:
            return Box(**sizes)
        head = _head(choice_at(entries["heads"], f"{where}.heads", HEADS), sizes["diameter"])
        if shape == STANDING:
            return VerticalCylinder(**sizes, bottom=head, top=head)
        return HorizontalCylinder(**sizes, left=head, right=head)
    except CalcError as error:
        place = error.where if error.where.startswith("$") else f"{where}.{error.where}"
        raise CalcError(error.code, place, **error.values) from None


def _head(kind: str, diameter: float) -> Head:
    return Head(kind, HALF_ELLIPSE * diameter) if kind == ELLIPSOIDAL else Head(kind)
