"""Acceptance criteria as data: which band a rule gives, where the rule stands, how sure that is.

The files in fixtures/criteria are the starter rows; an authority's own rule has the same form. The
edition that the authority having jurisdiction adopted decides, so each row is shown with its source
and its confidence.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from calc.acceptance import Band, decimal_as_written
from calc.entries import (
    choice_at,
    keys_at,
    list_at,
    load,
    number_at,
    refuse_range,
    text_at,
)
from calc.errors import CalcError

FOLDER = Path(__file__).parents[1] / "fixtures" / "criteria"
NOMINAL, BASELINE = "nominal", "baseline"
COMMON = "fixed-systems"  # the rule that "common" stands for
CONFIDENCES = (
    "looked up",
    "looked up, second-hand",
    "from memory, medium",
    "from memory, low",
    "common practice, no source",
)
LARGEST = Decimal("1e12")  # any unit, own choice: no limit of the trade is larger
SAID = ("code", "title", "source", "edition", "confidence")


@dataclass(frozen=True, slots=True)
class Bound:
    """One bound of a rule: times × (nominal or baseline) + plus, percent by volume."""

    of: str  # nominal | baseline
    times: Decimal
    plus: Decimal

    def value(self, nominal: Decimal, baseline: Decimal | None) -> Decimal:
        """The bound in percent by volume; a bound of a baseline needs one.

        Raises: baseline_missing.
        Source: the rule's own. Check: fixtures/reference/check-values.json G-03, G-08.
        """
        given = nominal if self.of == NOMINAL else baseline
        if given is None:
            raise CalcError("baseline_missing", BASELINE)
        return given * self.times + self.plus


@dataclass(frozen=True, slots=True)
class Criterion:
    """One rule. Either bounds that hold for any nominal, or bands for the percents it names."""

    code: str
    title: str
    source: str
    edition: str
    confidence: str
    lower: tuple[Bound, ...]  # the highest of them counts
    upper: tuple[Bound, ...]  # the lowest of them counts
    bands: Mapping[Decimal, Band]

    @property
    def needs_baseline(self) -> bool:
        """Whether the band hangs on the result of the acceptance test.

        Source: the rule's own. Check: tests/calc/test_criteria.py.
        """
        return any(bound.of == BASELINE for bound in self.lower + self.upper)


def criterion_band(
    criterion: Criterion,
    nominal: Decimal | float | str,
    baseline: Decimal | float | str | None = None,
) -> Band:
    """Acceptance band of a rule.

    Parameters
    ----------
    criterion : Criterion.
    nominal : Decimal, float or str as typed, 0 < nominal <= 100, % by volume.
    baseline : same, > 0. Result of the acceptance test at this flow point, where the rule asks.

    Returns
    -------
    Band, exact decimals, not rounded.

    Raises: not_a_number, not_finite, out_of_range, baseline_missing, nominal_not_named,
    baseline_too_far.
    Notes: highest of the lower bounds to lowest of the upper ones.
    Source: the criterion's own source and edition. Check: fixtures/reference/check-values.json
    G-01, G-03, G-04, G-08, G-09.
    """
    listed = _percent(nominal, NOMINAL)
    if criterion.bands:
        if listed not in criterion.bands:
            known = ", ".join(f"{known:f}" for known in criterion.bands)
            raise CalcError("nominal_not_named", NOMINAL, got=f"{listed:f}", known=known)
        return criterion.bands[listed]
    found = _percent(baseline, BASELINE) if baseline is not None else None
    lower = max(bound.value(listed, found) for bound in criterion.lower)
    upper = min(bound.value(listed, found) for bound in criterion.upper)
    if not lower < upper:
        raise CalcError("baseline_too_far", BASELINE, lower=f"{lower:f}", upper=f"{upper:f}")
    return Band(lower, upper)


def read_criterion(given: Any, where: str = "$") -> Criterion:
    """A rule from plain data, checked entry by entry.

    Parameters
    ----------
    given : dict with code, title, source, edition, confidence, and either lower and upper (lists
        of {of, times, plus}) or percents (list of {nominal, lower, upper}). Numbers are text or
        numbers as written, % by volume.
    where : JSON path of the object.

    Returns
    -------
    Criterion.

    Raises: any code of calc.entries, not_a_number, not_finite, limits_out_of_order.
    Source: the data's own. Check: tests/calc/test_criteria.py.
    """
    named = isinstance(given, dict) and "percents" in given
    entries = keys_at(given, where, SAID + (("percents",) if named else ("lower", "upper")))
    said = {key: text_at(entries[key], f"{where}.{key}") for key in SAID}
    choice_at(said["confidence"], f"{where}.confidence", CONFIDENCES)
    return Criterion(
        **said,
        lower=() if named else _bounds(entries["lower"], f"{where}.lower"),
        upper=() if named else _bounds(entries["upper"], f"{where}.upper"),
        bands=_bands(entries["percents"], f"{where}.percents") if named else MappingProxyType({}),
    )


def common_band(nominal: Decimal | float | str) -> Band:
    """Acceptance band of the common rule: that of fixed systems.

    Raises: as `criterion_band`.
    Source: fixtures/criteria/fixed-systems.json. Check: fixtures/reference/check-values.json G-01,
    G-02, G-07.
    """
    return criterion_band(shipped_criteria()[COMMON], nominal)


@cache
def shipped_criteria() -> Mapping[str, Criterion]:
    """The starter rows by code, read once.

    Raises: any code of read_criterion; nothing when the files are as shipped.
    Source: fixtures/criteria. Check: tests/calc/test_criteria.py.
    """
    files = sorted(FOLDER.glob("*.json"))
    rules = [read_criterion(load(file.read_bytes()), file.name) for file in files]
    return MappingProxyType({rule.code: rule for rule in rules})


def decimal_at(given: Any, where: str) -> Decimal:
    """A decimal of a rule at its place: text or a number, as written.

    Raises: not_a_number, not_finite, integer_too_big, out_of_range.
    Source: none, it reads a number. Check: tests/calc/test_criteria.py.
    """
    written = decimal_as_written(
        given if isinstance(given, str) else number_at(given, where), where
    )
    if abs(written) > LARGEST:
        refuse_range(where, float(written), "a number from -1e12 to 1e12")
    return written


def _percent(given: Decimal | float | str, where: str) -> Decimal:
    percent = decimal_as_written(given, where)
    if not 0 < percent <= 100:
        raise CalcError("out_of_range", where, got=given, want="above 0 and at most 100")
    return percent


def _bounds(given: Any, where: str) -> tuple[Bound, ...]:
    return tuple(_bound(entry, f"{where}[{i}]") for i, entry in enumerate(list_at(given, where)))


def _bound(given: Any, where: str) -> Bound:
    entries = keys_at(given, where, ("of",), ("times", "plus"))
    return Bound(
        of=choice_at(entries["of"], f"{where}.of", (NOMINAL, BASELINE)),
        times=decimal_at(entries.get("times", "1"), f"{where}.times"),
        plus=decimal_at(entries.get("plus", "0"), f"{where}.plus"),
    )


def _bands(given: Any, where: str) -> Mapping[Decimal, Band]:
    bands = {}
    for i, entry in enumerate(list_at(given, where)):
        place = f"{where}[{i}]"
        entries = keys_at(entry, place, (NOMINAL, "lower", "upper"))
        lower, upper = (decimal_at(entries[k], f"{place}.{k}") for k in ("lower", "upper"))
        if not 0 <= lower < upper <= 100:
            raise CalcError("limits_out_of_order", place, lower=lower, upper=upper)
        bands[_percent(entries[NOMINAL], f"{place}.{NOMINAL}")] = Band(lower, upper)
    return MappingProxyType(bands)
