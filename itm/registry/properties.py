"""The properties of a concentrate in words, and the units in which papers give them.

The names are the engine's (`calc.properties`), and so is the unit that stands first.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

ONE = Decimal(1)
NONE = MappingProxyType({"": ONE})
# Exact: 0.45359237 kg, 0.3048 m and 231 in³ by definition (NIST SP 811, B.8, from memory).
POUND, FOOT, INCH = Decimal("0.45359237"), Decimal("0.3048"), Decimal("0.0254")
DENSITY = MappingProxyType(
    {
        "kg/m³": ONE,
        "g/mL": Decimal(1000),
        "kg/L": Decimal(1000),
        "lb/ft³": POUND / FOOT**3,
        "lb/US gal": POUND / (231 * INCH**3),
    }
)
TENSION = MappingProxyType({"mN/m": ONE, "dyn/cm": ONE})
PARTS = MappingProxyType({"% vol": ONE})
STEP = Decimal("1e-9")  # of the column that holds a value


@dataclass(frozen=True)
class Property:
    """`units` lead to the unit of the engine; the first of them is that unit itself."""

    name: str
    words: str
    units: Mapping[str, Decimal]
    mixes: bool = False  # by volume, so that its certificate and its water belong to 20 °C

    @property
    def unit(self) -> str:
        return next(iter(self.units))

    @property
    def heading(self) -> str:
        """At the beginning of a line; pH stays what it is."""
        return self.words if self.name == "ph" else f"{self.words[0].upper()}{self.words[1:]}"

    def shown(self, number: object) -> str:
        """A number of the engine with its unit."""
        return f"{number} {self.unit}".strip()


KNOWN = (
    Property("refractive_index", "refractive index nD", NONE, mixes=True),
    Property("density", "density", DENSITY, mixes=True),
    Property("ph", "pH", NONE),
    Property(
        "conductivity_ms_cm",
        "conductivity, undiluted",
        MappingProxyType({"mS/cm": ONE, "µS/cm": Decimal("0.001"), "S/m": Decimal(10)}),
    ),
    Property(
        "kinematic_viscosity_mm2_s",
        "kinematic viscosity",
        MappingProxyType({"mm²/s": ONE, "cSt": ONE}),
    ),
    Property(
        "dynamic_viscosity_mpa_s",
        "dynamic viscosity",
        MappingProxyType({"mPa·s": ONE, "cP": ONE, "Pa·s": Decimal(1000)}),
    ),
    Property("sediment_percent", "sediment", PARTS),
    Property("aged_sediment_percent", "sediment after ageing", PARTS),
    Property("surface_tension_mn_m", "surface tension of the solution", TENSION),
    Property("interfacial_tension_mn_m", "interfacial tension of the solution", TENSION),
    Property("spreading_coefficient_mn_m", "spreading coefficient", TENSION),
    Property("expansion", "expansion", NONE),
    Property(
        "drain_time_25_min",
        "25 % drain time",
        MappingProxyType({"min": ONE, "s": ONE / 60}),
    ),
    Property(
        "extinguishing_time_s",
        "time to extinguish, fire test",
        MappingProxyType({"s": ONE, "min": Decimal(60)}),
    ),
    Property(
        "burnback_time_s",
        "burnback time, fire test",
        MappingProxyType({"s": ONE, "min": Decimal(60)}),
    ),
)
PROPERTIES: Mapping[str, Property] = MappingProxyType({one.name: one for one in KNOWN})


def bounds(lowest: str | None, highest: str | None, of: Property) -> str:
    """7.0 to 8.5, at least 1.3630, at most 0.25 % vol."""
    if lowest and highest:
        return of.shown(f"{lowest} to {highest}")
    return of.shown(f"at least {lowest}" if lowest else f"at most {highest}")
