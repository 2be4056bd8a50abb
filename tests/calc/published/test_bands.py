"""Acceptance: the bands of each rule, and one bench from readings to limits (topic g)."""

from decimal import Decimal
from typing import Any

from calc.acceptance import limits
from calc.criteria import common_band, criterion_band, shipped_criteria
from calc.inverse import read_off
from calc.line import Line, fit_line
from calc.standards import suggested_percents
from tests.calc.published.rows import Cases, agree, inputs, published


def line_of(row_id: str) -> Line:
    data = inputs(row_id)
    return fit_line(data["x"], data["y"])


def bands(row_id: str) -> dict[str, Any]:
    allowed = [common_band(nominal) for nominal in inputs(row_id)["nominal"]]
    return {"low": [float(b.lower) for b in allowed], "high": [float(b.upper) for b in allowed]}


def crossover() -> dict[str, Any]:
    low, high = Decimal(1), Decimal(6)  # 130 % governs at 1 %, one point more at 6 %
    while high - low > Decimal("1e-15"):
        middle = (low + high) / 2
        if common_band(middle).upper < middle + 1:
            low = middle
        else:
            high = middle
    return {"crossover_percent": float(high), "high_at_crossover": float(common_band(high).upper)}


def whole_path() -> dict[str, Any]:
    line = line_of("G-06")
    percent = float(read_off(line, inputs("G-06")["reading"], 1, 1e-5).percent)
    return {
        "slope": line.slope,
        "intercept": line.intercept,
        "percent": percent,
        "r_squared": line.r**2,
        "passes": limits(percent, common_band(3)) == "in band",
    }


def bands_by(code: str, row_id: str) -> dict[str, Any]:
    rule, nominal = shipped_criteria()[code], inputs(row_id)["nominal"]
    listed = nominal if isinstance(nominal, list) else [nominal]
    allowed = [criterion_band(rule, percent) for percent in listed]
    low, high = [float(b.lower) for b in allowed], [float(b.upper) for b in allowed]
    if isinstance(nominal, list):
        return {"low": low, "high": high}
    return {"low": low[0], "high": high[0]}


def passes(code: str, nominal: float, value: float) -> bool:
    return limits(value, criterion_band(shipped_criteria()[code], nominal)) == "in band"


def marine_and_land() -> dict[str, Any]:
    return {
        **bands_by("marine", "G-08"),
        "maritime_2_8_on_3": passes("marine", 3, 2.8),
        "land_2_8_on_3": passes("fixed-systems", 3, 2.8),
    }


def three_rules() -> dict[str, Any]:
    nominal, value = inputs("G-09")["nominal"], inputs("G-09")["value"]
    return {
        "land_NFPA11": passes("fixed-systems", nominal, value),
        "maritime_1432": passes("marine", nominal, value),
        "ARFF_NFPA412": passes("vehicle-turrets", nominal, value),
    }


CASES: Cases = {
    "G-01": lambda: bands("G-01"),
    "G-02": crossover,
    "G-03": lambda: bands_by("marine", "G-03"),
    "G-04": lambda: bands_by("vehicle-turrets", "G-04"),
    "G-05": lambda: {"standards_percent": list(suggested_percents(inputs("G-05")["nominal"]))},
    "G-06": whole_path,
    "G-07": lambda: bands("G-07"),
    "G-08": marine_and_land,
    "G-09": three_rules,
}


@published(CASES)
def test_bands_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
