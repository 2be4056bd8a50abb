"""Tanks: how much stands in them at a level, at which level a volume stands, and what is usable.

Lengths in m, volumes in m³, levels above the lowest point inside. Shapes are ideal: dents, pipes,
a bladder or a slope of the tank are not in them, so a strapping table of the maker comes first.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.arguments import one_shape, positive, within
from calc.errors import CalcError, quoted
from calc.sums import ordered_sum

FLAT, CONICAL, ELLIPSOIDAL = "flat", "conical", "ellipsoidal"
SPHERICAL, TORISPHERICAL = "spherical", "torispherical"
HEADS = (FLAT, CONICAL, ELLIPSOIDAL, SPHERICAL, TORISPHERICAL)
LEAST_INLET = 0.0254  # m, suction inlet above the bottom, NFPA 11 since 2016, second-hand
HALVINGS = 60  # own choice: brings any level to the last digit

# Nodes and weights on 0 to 1, closing in on both ends doubly exponentially, so that roots at an
# end cost nothing: Takahasi and Mori, Publ. RIMS 9 (1974) 721. 65 nodes give 12 digits here.
_STEPS = 0.1 * np.arange(-32, 33)
_NODES = 1 / (1 + np.exp(-np.pi * np.sinh(_STEPS)))
_WEIGHTS = 0.1 * np.pi * np.cosh(_STEPS) * _NODES * (1 - _NODES)


@dataclass(frozen=True, slots=True)
class Head:
    """The end of a cylinder. depth is how far it stands out of the cylinder, m."""

    kind: str = FLAT
    depth: float = 0.0  # conical, ellipsoidal, spherical; the others have theirs by shape
    crown: float = 1.0  # torispherical: radius of the dish over the diameter of the cylinder
    knuckle: float = 0.06  # torispherical: radius of the bend over the diameter


@dataclass(frozen=True, slots=True)
class HorizontalCylinder:
    """Lying cylinder; length without the heads."""

    diameter: float
    length: float
    left: Head = Head()
    right: Head = Head()

    def __post_init__(self) -> None:
        _check_cylinder(self.diameter, self.length, left=self.left, right=self.right)


@dataclass(frozen=True, slots=True)
class VerticalCylinder:
    """Standing cylinder; length without the heads, both of which bulge outward."""

    diameter: float
    length: float
    bottom: Head = Head()
    top: Head = Head()

    def __post_init__(self) -> None:
        _check_cylinder(self.diameter, self.length, bottom=self.bottom, top=self.top)


@dataclass(frozen=True, slots=True)
class Sphere:
    """Whole sphere."""

    diameter: float

    def __post_init__(self) -> None:
        _size("diameter", self.diameter)


@dataclass(frozen=True, slots=True)
class Box:
    """Upright box."""

    length: float
    width: float
    height: float

    def __post_init__(self) -> None:
        for where in ("length", "width", "height"):
            _size(where, getattr(self, where))


Vessel = HorizontalCylinder | VerticalCylinder | Sphere | Box
LARGEST = 1000.0  # m, own choice: a longer tank is a slip of the unit
SIZE = "a length above 0 and at most 1000 m"


def _size(where: str, length: float) -> None:
    within(where, positive(where, length), 0, LARGEST, SIZE)


def _check_cylinder(diameter: float, length: float, **heads: Head) -> None:
    _size("diameter", diameter)
    within("length", length, 0, LARGEST, "0 to 1000 m")
    for where, head in heads.items():
        if head.kind not in HEADS:
            choices = ", ".join(HEADS)
            raise CalcError("unknown_choice", where, got=quoted(str(head.kind)), choices=choices)
        if head.kind in (CONICAL, ELLIPSOIDAL, SPHERICAL):
            _size(f"{where}.depth", head.depth)
        if head.kind == SPHERICAL:
            within(f"{where}.depth", head.depth, 0, diameter / 2, "at most half the diameter")
        if head.kind == TORISPHERICAL:
            positive(f"{where}.knuckle", head.knuckle)
            within(f"{where}.knuckle", head.knuckle, 0, 0.5, "at most 0.5")
            within(f"{where}.crown", head.crown, 0.5, 100, "0.5 to 100 diameters")


def height(vessel: Vessel) -> float:
    """Highest level inside, m.

    Source: geometry of each shape. Check: tests/calc/test_vessels.py.
    """
    match vessel:
        case HorizontalCylinder() | Sphere():
            return float(vessel.diameter)
        case VerticalCylinder():
            ends = _depth(vessel.bottom, vessel.diameter) + _depth(vessel.top, vessel.diameter)
            return float(vessel.length + ends)
        case Box():
            return float(vessel.height)


def capacity(vessel: Vessel) -> float:
    """Volume of the full vessel, m³.

    Source: geometry of each shape. Check: tests/calc/test_vessels.py.
    """
    return float(volume_at(vessel, height(vessel)))


def volume_at(vessel: Vessel, level: Any) -> Any:
    """Volume that stands in a vessel at a level.

    Parameters
    ----------
    vessel : HorizontalCylinder, VerticalCylinder, Sphere or Box.
    level : array_like, m above the lowest point inside, 0 to the height of the vessel.

    Returns
    -------
    m³, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: closed forms, but for lying heads that are no ellipsoid: there circular segments are
    summed along the axis.
    Source: geometry of each shape; published examples of Jones, Computing Fluid Tank Volumes.
    Check: fixtures/reference/check-values.json E-06, E-07, E-08, E-12, E-13.
    """
    most = height(vessel)
    h = within("level", level, 0, most, f"a level from 0 to {most:g} m")
    match vessel:
        case HorizontalCylinder():
            radius = vessel.diameter / 2
            heads = _lying_head(vessel.left, radius, h) + _lying_head(vessel.right, radius, h)
            return _segment(radius, h - radius) * vessel.length + heads
        case VerticalCylinder():
            return _standing(vessel, h)
        case Sphere():
            return np.pi * h * h * (vessel.diameter / 2 - h / 3)
        case Box():
            return vessel.length * vessel.width * h


def level_of(vessel: Vessel, volume: Any) -> Any:
    """Level at which a volume stands; undoes `volume_at`.

    Parameters
    ----------
    vessel : as for `volume_at`.
    volume : array_like, m³, 0 to the capacity of the vessel.

    Returns
    -------
    m above the lowest point inside, same shape.

    Raises: not_a_number, not_finite, out_of_range.
    Notes: halving of the interval, which cannot fail where the volume rises with the level.
    Source: geometry, as `volume_at`. Check: tests/calc/test_vessels.py, against the library fluids.
    """
    most = capacity(vessel)
    wanted = within("volume", volume, 0, most, f"a volume from 0 to {most:g} m³")
    low = np.zeros_like(wanted)
    high = low + height(vessel)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = volume_at(vessel, middle) < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return ((low + high) / 2)[()]


def usable_volume(vessel: Vessel, level: Any, outlet_level: Any) -> Any:
    """Contents that the suction inlet can reach: what stands above it.

    Parameters
    ----------
    vessel : as for `volume_at`.
    level : array_like, m, level of the concentrate.
    outlet_level : array_like, m, height of the suction inlet above the lowest point inside.

    Returns
    -------
    m³, broadcast shape; 0 when the inlet is dry.

    Raises: not_a_number, not_finite, out_of_range, shapes_differ.
    Notes: what lies below the inlet is dead volume and feeds no foam; the inlet stands at least
    25.4 mm up (LEAST_INLET), so that sediment stays out.
    Source: NFPA 11 since 2016, second-hand. Check: tests/calc/test_vessels.py.
    """
    one_shape("outlet_level", level, outlet_level)
    dead = volume_at(vessel, outlet_level)
    return np.maximum(volume_at(vessel, level) - dead, 0.0)[()]


# Heads


def _depth(head: Head, diameter: float) -> float:
    if head.kind == FLAT:
        return 0.0
    if head.kind == TORISPHERICAL:
        crown_depth, knuckle_depth, _ = _dish(head, diameter)
        return crown_depth + knuckle_depth
    return head.depth


def _dish(head: Head, diameter: float) -> tuple[float, float, float]:
    """Depth of the crown, depth of the knuckle, and the radius where they meet.

    Source: geometry of two arcs that touch; ASME VIII-1, appendix 1-4 (from memory).
    """
    crown, knuckle = head.crown * diameter, head.knuckle * diameter
    sine = 1.0 if crown <= knuckle else min((diameter / 2 - knuckle) / (crown - knuckle), 1.0)
    cosine = math.sqrt(1 - sine * sine)
    return crown * (1 - cosine), knuckle * cosine, crown * sine


def _segment(radius: Any, above_axis: Any) -> Any:
    """Area of a circle below a level, m²; above_axis from -radius to radius."""
    share = np.clip(above_axis / np.maximum(radius, 1e-300), -1, 1)
    return radius * radius * (np.arccos(-share) + share * np.sqrt(1 - share * share))


def _cap(sphere_radius: float, depth: Any) -> Any:
    return np.pi * depth * depth * (sphere_radius - depth / 3)


def _standing(vessel: VerticalCylinder, h: Any) -> Any:
    radius = vessel.diameter / 2
    bottom, top = _depth(vessel.bottom, vessel.diameter), _depth(vessel.top, vessel.diameter)
    lower = _standing_head(vessel.bottom, radius, np.minimum(h, bottom))
    shell = np.pi * radius * radius * np.clip(h - bottom, 0, vessel.length)
    empty = np.minimum(bottom + vessel.length + top - h, top)
    upper = _standing_head(vessel.top, radius, top) - _standing_head(vessel.top, radius, empty)
    return lower + shell + upper


def _standing_head(head: Head, radius: float, h: Any) -> Any:
    """Volume from the tip of a head up to a height h within it."""
    a = head.depth
    match head.kind:
        case "conical":
            return np.pi / 3 * h * (radius * h / a) ** 2
        case "ellipsoidal":
            return np.pi * radius * radius * h * h / a * (1 - h / (3 * a))
        case "spherical":
            return _cap((radius * radius + a * a) / (2 * a), h)
        case "torispherical":
            return _standing_dish(head, radius, h)
    return 0.0 * h


def _standing_dish(head: Head, radius: float, h: Any) -> Any:
    crown_depth, knuckle_depth, _ = _dish(head, 2 * radius)
    knuckle, ring = head.knuckle * 2 * radius, radius * (1 - 2 * head.knuckle)

    def turned(s: Any) -> Any:  # ∫ (ring + √(knuckle² - s²))² ds
        inside = np.clip(s / knuckle, 0, 1)
        arc = s * np.sqrt(1 - inside * inside) * knuckle + knuckle**2 * np.arcsin(inside)
        return (ring * ring + knuckle * knuckle) * s + ring * arc - s**3 / 3

    dish = _cap(head.crown * 2 * radius, np.minimum(h, crown_depth))
    left = np.minimum(crown_depth + knuckle_depth - h, knuckle_depth)
    return dish + np.pi * (turned(knuckle_depth) - turned(left))


def _lying_head(head: Head, radius: float, h: Any) -> Any:
    """Volume of one head of a lying cylinder up to a level h, by symmetry about the axis."""
    if head.kind == FLAT:
        return 0.0 * h
    above_axis = h - radius
    lower = _lying_below(head, radius, -np.abs(above_axis))
    return np.where(above_axis > 0, 2 * _lying_below(head, radius, 0.0) - lower, lower)[()]


def _lying_below(head: Head, radius: float, above_axis: Any) -> Any:
    if head.kind == ELLIPSOIDAL:
        return head.depth / radius / 2 * _cap(radius, radius + above_axis)
    total = 0.0 * np.asarray(above_axis)
    for start, end, radius_at, reach in _profile(head, radius):
        stop = np.clip(reach(-above_axis), start, end)
        x = start + np.multiply.outer(_NODES, stop - start)
        area = _segment(radius_at(x), above_axis)
        weights = _WEIGHTS.reshape(-1, *[1] * np.ndim(total))
        total = total + (stop - start) * ordered_sum(weights * area)
    return total


Piece = tuple[float, float, Callable[[Any], Any], Callable[[Any], Any]]


def _profile(head: Head, radius: float) -> list[Piece]:
    """Pieces of a head along its axis: from, to, radius at x, and x where the radius is r."""
    a = head.depth
    if head.kind == CONICAL:
        return [(0.0, a, lambda x: radius * (1 - x / a), lambda r: a * (1 - r / radius))]
    if head.kind == SPHERICAL:
        return [_arc((radius * radius + a * a) / (2 * a), a, 0.0)]
    crown_depth, knuckle_depth, meet = _dish(head, 2 * radius)
    knuckle, ring = head.knuckle * 2 * radius, radius * (1 - 2 * head.knuckle)
    bend: Piece = (
        0.0,
        knuckle_depth,
        lambda x: ring + _leg(knuckle, x),
        lambda r: np.where(r > meet, _leg(knuckle, r - ring), knuckle_depth),
    )
    return [bend, _arc(head.crown * 2 * radius, crown_depth + knuckle_depth, knuckle_depth)]


def _arc(sphere_radius: float, tip: float, start: float) -> Piece:
    centre = tip - sphere_radius
    return (
        start,
        tip,
        lambda x: _leg(sphere_radius, x - centre),
        lambda r: centre + _leg(sphere_radius, r),
    )


def _leg(hypotenuse: float, other: Any) -> Any:
    return np.sqrt(np.maximum(hypotenuse * hypotenuse - other * other, 0.0))
