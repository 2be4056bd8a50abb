"""What can stand in a reading's field: the one table of ranges, and what a display can show.

Every door that takes readings asks here, and pages take their input limits from here too.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

REFRACTIVE_INDEX, BRIX, CONDUCTIVITY = "refractive_index", "brix", "conductivity"


class Display(Protocol):
    """What a reading has to fit to; a registry instrument is one."""

    @property
    def method(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def resolution(self) -> Decimal: ...
    @property
    def interpolated(self) -> bool: ...
    @property
    def width(self) -> float: ...
    @property
    def steps_in_words(self) -> str: ...
    @property
    def repeatability(self) -> Decimal | None: ...
    @property
    def temperature_compensated(self) -> bool: ...
    @property
    def compensates_from_c(self) -> Decimal | None: ...
    @property
    def compensates_to_c(self) -> Decimal | None: ...


@dataclass(frozen=True)
class Field:
    """One field: its name in a sentence, the range that is believed, and an example."""

    name: str
    unit: str
    lowest: Decimal
    highest: Decimal
    example: str
    lowest_itself: bool = True  # whether the lowest value is in the range

    def holds(self, value: Decimal) -> bool:
        above = value >= self.lowest if self.lowest_itself else value > self.lowest
        return above and value <= self.highest

    @property
    def range(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        if not self.lowest_itself:
            return f"above {self.lowest:f} and at most {self.highest:f}{unit}"
        return f"{self.lowest:f} to {self.highest:f}{unit}"


# Key: method and unit of the instrument. Ranges are our own choice: wide enough for any concentrate
# or mixture, narrow enough to catch another scale. 1 000 mS/cm is above any solution in water
# (strong acids come near it, from memory).
READINGS: Mapping[tuple[str, str], Field] = {
    (REFRACTIVE_INDEX, ""): Field(
        "refractive index", "", Decimal("1.3"), Decimal("1.7"), example="1.3412"
    ),
    (BRIX, "% Brix"): Field("Brix reading", "% Brix", Decimal(0), Decimal(95), example="1.4"),
    (CONDUCTIVITY, "µS/cm"): Field(
        "conductivity", "µS/cm", Decimal(0), Decimal(1_000_000), "742", lowest_itself=False
    ),
    (CONDUCTIVITY, "mS/cm"): Field(
        "conductivity", "mS/cm", Decimal(0), Decimal(1000), "0.742", lowest_itself=False
    ),
}
TEMPERATURE = Field("temperature", "°C", Decimal(-5), Decimal(60), example="20.3")
MOST_TEMPERATURE_DECIMALS = 2


def reading_field(display: Display) -> Field:
    return READINGS[(display.method, display.unit)]


def decimals_of_step(resolution: Decimal) -> int:
    """Decimals that a display with this step shows: 4 for 0.0001 and for 0.0005, 0 for 1 or 10."""
    return max(0, -int(resolution.normalize().as_tuple().exponent))


def decimals_typed(value: Decimal) -> int:
    """Decimals as they were typed, trailing zeros too."""
    return max(0, -int(value.as_tuple().exponent))


def looks_like(value: Decimal, display: Display) -> str:
    """The other scale a value seems to be of, in words, or nothing.

    A refractive index is told by its range and its digits; a value outside the index range by size.
    """
    index = READINGS[(REFRACTIVE_INDEX, "")]
    if display.method == REFRACTIVE_INDEX:
        if index.holds(value):
            return ""
        if 0 <= value <= READINGS[(BRIX, "% Brix")].highest:
            return "a Brix reading"
        return "a conductivity" if value > 0 else ""
    finer = decimals_typed(value) > decimals_of_step(display.resolution)
    if index.holds(value) and decimals_typed(value) >= 4 and finer:
        return "a refractive index"
    if display.method == BRIX and value > READINGS[(BRIX, "% Brix")].highest:
        return "a conductivity"
    return ""
