"""Uncertainty, Student's factors and probabilities of a band (topic a)."""

from math import inf
from typing import Any

import numpy as np

from calc.acceptance import judge
from calc.measured import Part, measured
from calc.student import coverage_factor, probability_below
from tests.calc.published.rows import Cases, agree, inputs, published


def below_upper_limit() -> dict[str, Any]:
    data = inputs("A-14")
    return {"p_conform": probability_below(data["upper"], data["y"], data["u"], inf)}


def above_lower_limit() -> dict[str, Any]:
    data = inputs("A-15")
    return {"p_conform": 1 - probability_below(data["lower"], data["y"], data["u"], inf)}


def in_band(row_id: str) -> list[float]:
    data = inputs(row_id)
    y, lower, upper = np.array(data["y"]), data["lower"], data["upper"]
    return list(judge(y, data["u"], inf, lower, upper).probability_in_band)


def end_gauge() -> dict[str, Any]:
    data = inputs("A-11")
    pairs = zip(data["contributions_nm"], data["dof"], strict=True)
    parts = [Part("", u * 1e-6, dof) for u, dof in pairs]
    length = measured(data["l_S_mm"] + data["d_nm"] * 1e-6, parts)
    dof = int(length.degrees_of_freedom)
    k = coverage_factor(dof, data["coverage_p"])
    return {
        "length_mm": length.percent,
        "u_c_nm": length.u_percent * 1e6,
        "dof_eff_truncated": dof,
        "k_99": k,
        "U99_nm_rounded": k * length.u_percent * 1e6,
    }


CASES: Cases = {
    "A-11": end_gauge,
    "A-12": lambda: {"t": [coverage_factor(dof) for dof in inputs("A-12")["dof"]]},
    "A-13": lambda: {"k": [coverage_factor(inf, p) for p in inputs("A-13")["p"]]},
    "A-14": below_upper_limit,
    "A-15": above_lower_limit,
    "A-16": lambda: {"p": in_band("A-16")},
    "A-21": lambda: {
        "t_rows": [
            [coverage_factor(dof, p) for p in inputs("A-21")["p"]] for dof in inputs("A-21")["dof"]
        ]
    },
    "A-22": lambda: {
        "p": in_band("A-22"),
        "guard_band": coverage_factor(inf, 0.90) * inputs("A-22")["u"],
    },
}


@published(CASES)
def test_probabilities_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
