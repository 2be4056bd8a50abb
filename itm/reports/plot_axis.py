"""Axes: round ticks, and the way from a value to its place on paper."""

import math
from dataclasses import dataclass
from datetime import date

MINUS = "\u2212"


@dataclass(frozen=True)
class Axis:
    """A straight scale between two ticks. `low` lies at pixel `start`, `high` at pixel `end`."""

    low: float
    high: float
    step: float
    start: float
    end: float

    def at(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clip(self, value: float) -> float:
        return min(max(value, self.low), self.high)

    def holds(self, value: float) -> bool:
        slack = 1e-9 * (self.high - self.low)
        return self.low - slack <= value <= self.high + slack

    def ticks(self, parts: int = 1) -> list[float]:
        """Values of the ticks; with parts, of the finer grid between them as well."""
        step = self.step / parts
        first = round(self.low / step)
        count = round((self.high - self.low) / step)
        return [(first + i) * step for i in range(count + 1)]

    def finer(self, least: float) -> int:
        """Into how many parts a step is divided so that grid lines stay `least` pixels apart."""
        gap = abs(self.end - self.start) * self.step / (self.high - self.low)
        choices = (4, 2) if leading_digit(self.step) == 2 else (5, 2)
        return next((parts for parts in choices if gap / parts >= least), 1)

    def label(self, value: float) -> str:
        return number(value, decimals(self.step))


def axis(low: float, high: float, *, start: float, end: float, most: int) -> Axis:
    """The axis that holds low to high between round ticks, with at most `most` steps if it can."""
    if not high > low:
        room = abs(low) * 0.01 or 1.0
        low, high = low - room, high + room
    step = round_step((high - low) / most)
    # A value on a tick up to float noise must not buy a whole further step.
    first = math.floor(low / step + 1e-6)
    last = math.ceil(high / step - 1e-6)
    return Axis(first * step, last * step, step, start, end)


def round_step(wanted: float) -> float:
    """The smallest of 1, 2 and 5 times a power of ten that is at least the wanted step."""
    power = math.floor(math.log10(wanted))
    for digit, exponent in ((1, power), (2, power), (5, power), (1, power + 1)):
        # Through text, so that 5e-4 is the float that a reader would type.
        step = float(f"{digit}e{exponent}")
        if step >= wanted * (1 - 1e-9):
            return step
    return step


def leading_digit(step: float) -> int:
    return int(f"{step:e}"[0])


def decimals(step: float) -> int:
    return max(0, -math.floor(math.log10(step) + 1e-9))


def number(value: float, digits: int) -> str:
    shown = f"{value:.{digits}f}"
    if float(shown) == 0:
        shown = f"{0:.{digits}f}"
    return shown.replace("-", MINUS)


@dataclass(frozen=True)
class Frame:
    """Years along, a value up."""

    first: int  # first year on the axis
    last: int  # year whose 1 January ends the axis
    start: float
    end: float
    up: Axis
    size: float

    def at(self, day: date) -> float:
        origin = date(self.first, 1, 1).toordinal()
        span = date(self.last, 1, 1).toordinal() - origin
        return self.start + (day.toordinal() - origin) / span * (self.end - self.start)
