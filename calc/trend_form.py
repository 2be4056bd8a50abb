"""The form of one series over the years, and what the trend says of it as plain data with dates."""

import math
from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Any

from calc.acceptance import Band, decimal_as_written
from calc.criteria import criterion_band, shipped_criteria
from calc.entries import choice_at, keys_at, list_at, number_at, refuse_range, text_at
from calc.errors import CalcError, quoted
from calc.trend import Drift, Event, Leaving, Point, Step, Trend, trend

FIRST_YEAR, LAST_YEAR = 1900, 2200  # own choice: no foam system is older, no forecast needed later
MOST_RESULTS = 500  # own choice: a result every week for ten years
MOST_EVENTS = 100  # own choice
SMALLEST, LARGEST = 1e-12, 1e12  # any unit, own choice: the range of a property on a certificate
RESULT_KEYS, RESULT_OPTIONS = ("on", "value"), ("standard_uncertainty",)
CRITERION_KEYS = ("code", "nominal_percent")


def trend_answer(given: Any) -> dict[str, Any]:
    """What a series says, from its form.

    Parameters
    ----------
    given : dict with results, a list of {on, value, standard_uncertainty}; and optional events, a
        list of {on, what}; baseline {value, standard_uncertainty}; and limits {lower, upper} or
        criterion {code, nominal_percent}. Dates as "2026-11-30".

    Returns
    -------
    dict: steps, drifts, present, baseline, latest_side, leaving. Slopes per year.

    Raises: CalcError with the JSON path of the entry.
    Source: calc.trend. Check: tests/calc/test_trend_form.py.
    """
    entries = keys_at(given, "$", ("results",), ("events", "baseline", "limits", "criterion"))
    points = [
        _point(row, f"$.results[{i}]")
        for i, row in enumerate(_short_list(entries["results"], "$.results", MOST_RESULTS))
    ]
    rows = _short_list(entries["events"], "$.events", MOST_EVENTS) if "events" in entries else ()
    events = [_event(row, f"$.events[{i}]") for i, row in enumerate(rows)]
    baseline = _baseline(entries["baseline"]) if "baseline" in entries else None
    return _plain(trend(points, events, baseline, _band(entries, baseline)))


def _short_list(given: Any, where: str, most: int) -> list[Any] | tuple[Any, ...]:
    rows = list_at(given, where)
    if len(rows) > most:
        raise CalcError("too_many_points", where, count=len(rows), most=most)
    return rows


def _point(given: Any, where: str) -> Point:
    entries = keys_at(given, where, RESULT_KEYS, RESULT_OPTIONS)
    return Point(
        day=_day_at(entries["on"], f"{where}.on"),
        value=_value_at(entries["value"], f"{where}.value"),
        u_value=_uncertainty(entries, where),
    )


def _uncertainty(entries: dict[str, Any], where: str) -> float | None:
    given = entries.get("standard_uncertainty")
    return None if given is None else _value_at(given, f"{where}.standard_uncertainty")


def _value_at(given: Any, where: str) -> float:
    value = number_at(given, where)
    if not SMALLEST <= value <= LARGEST:
        refuse_range(where, value, "a number from 1e-12 to 1e12")
    return value


def _day_at(given: Any, where: str) -> float:
    text = text_at(given, where)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or day.isoformat() != text or not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise CalcError("not_a_date", where, got=quoted(text), first=FIRST_YEAR, last=LAST_YEAR)
    return float(day.toordinal())


def _event(given: Any, where: str) -> Event:
    entries = keys_at(given, where, ("on", "what"))
    return Event(_day_at(entries["on"], f"{where}.on"), text_at(entries["what"], f"{where}.what"))


def _baseline(given: Any) -> tuple[float, float | None]:
    entries = keys_at(given, "$.baseline", ("value",), RESULT_OPTIONS)
    value = _value_at(entries["value"], "$.baseline.value")
    return value, _uncertainty(entries, "$.baseline")


def _band(entries: dict[str, Any], baseline: tuple[float, float | None] | None) -> Band | None:
    if "limits" in entries:
        keys_at(entries, "$", (), tuple(key for key in entries if key != "criterion"))
        given = keys_at(entries["limits"], "$.limits", ("lower", "upper"))
        for key in ("lower", "upper"):  # of a percent or of a property, so beyond 100 too
            number_at(given[key], f"$.limits.{key}")
        lower, upper = (decimal_as_written(given[key], "$.limits") for key in ("lower", "upper"))
        if not lower < upper:
            raise CalcError("limits_reversed", "$.limits", lower=lower, upper=upper)
        return Band(lower, upper)
    if "criterion" not in entries:
        return None
    given = keys_at(entries["criterion"], "$.criterion", CRITERION_KEYS)
    rules = shipped_criteria()
    code = choice_at(given["code"], "$.criterion.code", tuple(rules))
    number_at(given["nominal_percent"], "$.criterion.nominal_percent")
    try:
        return criterion_band(
            rules[code], given["nominal_percent"], baseline[0] if baseline else None
        )
    except CalcError as error:
        raise CalcError(error.code, PLACES[error.where], **error.values) from None


PLACES: Mapping[str, str] = MappingProxyType(
    {"nominal": "$.criterion.nominal_percent", "baseline": "$.baseline"}
)


def _plain(found: Trend) -> dict[str, Any]:
    apart = found.baseline
    return {
        "steps": [_plain_step(step) for step in found.steps],
        "drifts": [_plain_drift(one) for one in found.drifts],
        "present": _plain_drift(found.present) if found.present else None,
        "baseline": None
        if apart is None
        else {
            "difference": apart.difference,
            "share_percent": apart.share,
            "interval": _interval(apart.low, apart.high),
        },
        "latest_side": found.latest_side,
        "leaving": [_plain_leaving(one) for one in found.leaving],
    }


def _plain_step(step: Step) -> dict[str, Any]:
    return {
        "events": [{"on": _date(event.day), "what": event.what} for event in step.events],
        "results_before": step.before,
        "results_after": step.after,
        "shift": step.shift.middle,
        "interval": _interval(step.shift.low, step.shift.high),
        "probability_by_chance": step.shift.p,
        "statement": step.statement,
    }


def _plain_drift(found: Drift) -> dict[str, Any]:
    slope, test = found.slope, found.test
    return {
        "first_on": _date(found.first_day),
        "last_on": _date(found.last_day),
        "results": found.count,
        "slope_per_year": slope.slope if slope else None,
        "interval": _interval(slope.low, slope.high) if slope else None,
        "probability_by_chance": test.p if test else None,
        "statement": found.statement,
        "stands_apart": None
        if found.apart is None
        else {"on": _date(found.apart.day), "value": found.apart.value},
    }


def _plain_leaving(left: Leaving) -> dict[str, Any]:
    days = (left.earliest_day, left.likely_day, left.latest_day)
    dates = [None if day is None else _date(day) for day in days]
    return {
        "side": left.side,
        **dict(zip(("earliest_on", "likely_on", "latest_on"), dates, strict=True)),
    }


def _interval(low: float | None, high: float | None) -> list[float] | None:
    return None if low is None or high is None else [low, high]


def _date(day: float) -> str:
    return date.fromordinal(math.floor(day)).isoformat()
