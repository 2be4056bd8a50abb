"""Lines and what is read off them: certified and printed fits (topic a)."""

from typing import Any

import numpy as np
import pytest

from calc.inverse import read_off
from calc.line import BothAxes, Line, curvature, fit_both_axes, fit_line
from calc.student import coverage_factor
from tests.calc.published.rows import Cases, agree, inputs, published


def line_of(row_id: str) -> Line:
    data = inputs(row_id)
    return fit_line(data["x"], data["y"])


def through_origin(row_id: str) -> dict[str, Any]:
    """The engine has no line through the origin, but the line through points and their mirror
    images is one: twice the points, so half the variance of its slope."""
    x, y = np.array(inputs(row_id)["x"], float), np.array(inputs(row_id)["y"], float)
    line = fit_line(np.concatenate([x, -x]), np.concatenate([y, -y]))
    assert line.intercept == pytest.approx(0, abs=1e-12)
    return {
        "slope": line.slope,
        "se_slope": line.u_slope * 2**0.5,
        "residual_sd": line.residual_sd,
        "r_squared_uncentred": line.r**2,
    }


def pearson_line() -> BothAxes:
    data = inputs("A-10")
    u_x, u_y = (np.array(data[key], float) ** -0.5 for key in ("weight_x", "weight_y"))
    return fit_both_axes(data["x"], data["y"], u_x, u_y)


def pearson() -> dict[str, Any]:
    both = pearson_line()
    return {
        "intercept": both.line.intercept,
        "slope": both.line.slope,
        "chi_square": both.chi_square,
        "se_intercept_unscaled": both.u_intercept,
        "se_slope_unscaled": both.u_slope,
    }


def pearson_scaled() -> dict[str, Any]:
    both = pearson_line()
    reduced = both.chi_square / both.line.degrees_of_freedom
    return {
        "reduced_chi_square": reduced,
        "scale_factor": reduced**0.5,
        "se_intercept_scaled": both.u_intercept * reduced**0.5,
        "se_slope_scaled": both.u_slope * reduced**0.5,
    }


def thermometer_line() -> Line:
    data = inputs("A-01")
    return fit_line([t - data["t0_degC"] for t in data["t_k_degC"]], data["b_k_degC"])


def thermometer() -> dict[str, Any]:
    line = thermometer_line()
    return {
        "y1": line.intercept,
        "u_y1": line.u_intercept,
        "y2": line.slope,
        "u_y2": line.u_slope,
        "corr_y1_y2": line.covariance / (line.u_intercept * line.u_slope),
        "s": line.residual_sd,
        "dof": line.degrees_of_freedom,
    }


def thermometer_at_30() -> dict[str, Any]:
    line, t = thermometer_line(), inputs("A-02")["t_degC"] - inputs("A-01")["t0_degC"]
    variance = line.u_intercept**2 + t**2 * line.u_slope**2 + 2 * t * line.covariance
    return {"b_30": line.intercept + line.slope * t, "u_b_30": variance**0.5}


def norris() -> dict[str, Any]:
    line = line_of("A-03")
    return {
        "intercept": line.intercept,
        "se_intercept": line.u_intercept,
        "slope": line.slope,
        "se_slope": line.u_slope,
        "residual_sd": line.residual_sd,
        "r_squared": line.r**2,
        "residual_ss": line.residual_sd**2 * line.degrees_of_freedom,
    }


def pontius() -> dict[str, Any]:
    bend = curvature(inputs("A-04")["x"], inputs("A-04")["y"])
    return {
        "b2": bend.term,
        "se_b2": bend.residual_sd / bend.spread**0.5,
        "residual_sd": bend.residual_sd,
    }


def replicate_line() -> Line:
    return fit_line(inputs("A-06")["x_mg_per_L"], inputs("A-06")["absorbance"])


def replicates() -> dict[str, Any]:
    line = replicate_line()
    return {
        "b0": line.intercept,
        "se_b0": line.u_intercept,
        "b1": line.slope,
        "se_b1": line.u_slope,
        "s": line.residual_sd,
        "Sxx": line.percent_spread,
        "n": line.points,
    }


def read_twice() -> dict[str, Any]:
    line, data = replicate_line(), inputs("A-07")
    reading = line.intercept + line.slope * data["c0"]
    return {"u_c0": read_off(line, reading, data["p"], line.residual_sd).u_percent}


def fluorimetry() -> dict[str, Any]:
    line = line_of("A-08")
    return {
        "slope": line.slope,
        "se_slope": line.u_slope,
        "intercept": line.intercept,
        "se_intercept": line.u_intercept,
        "s_yx": line.residual_sd,
        "r_squared": line.r**2,
        "t_975_5": coverage_factor(line.degrees_of_freedom),
    }


def fluorimetry_inverse() -> dict[str, Any]:
    line, data = line_of("A-08"), inputs("A-09")
    estimates = [read_off(line, y, data["m"], line.residual_sd) for y in data["y0"]]
    return {"x0": [e.percent for e in estimates], "s_x0": [e.u_percent for e in estimates]}


def norris_inverse() -> dict[str, Any]:
    line, data = line_of("A-03"), inputs("A-23")
    estimates = [read_off(line, data["y0"], m, line.residual_sd) for m in data["m"]]
    return {"x0": estimates[0].percent, "s_x0": [e.u_percent for e in estimates]}


def anscombe() -> dict[str, Any]:
    lines = {
        name: fit_line(inputs("A-17")["x"], inputs("A-17")[f"y_{name}"]) for name in ["I", "II"]
    }
    return {
        name: {
            "intercept": line.intercept,
            "slope": line.slope,
            "r_squared": line.r**2,
            "s": line.residual_sd,
        }
        for name, line in lines.items()
    }


def half_widths() -> dict[str, Any]:
    line = line_of("A-19")
    k = coverage_factor(line.degrees_of_freedom)
    return {
        "slope": line.slope,
        "intercept": line.intercept,
        "s": line.residual_sd,
        "se_slope": line.u_slope,
        "se_intercept": line.u_intercept,
        "half_width_slope": k * line.u_slope,
        "half_width_intercept": k * line.u_intercept,
    }


CASES: Cases = {
    "A-01": thermometer,
    "A-02": thermometer_at_30,
    "A-03": norris,
    "A-04": pontius,
    "A-05": lambda: through_origin("A-05"),
    "A-06": replicates,
    "A-07": read_twice,
    "A-08": fluorimetry,
    "A-09": fluorimetry_inverse,
    "A-10": pearson,
    "A-17": anscombe,
    "A-18": lambda: through_origin("A-18"),
    "A-19": half_widths,
    "A-20": pearson_scaled,
    "A-23": norris_inverse,
}


@published(CASES)
def test_lines_agree_with_the_published_fits(row_id):
    agree(row_id, CASES[row_id]())
