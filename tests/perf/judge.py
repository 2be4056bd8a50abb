"""Whether what the engine says to a form is a result or a refusal as promised."""

import json
import math
import re
from typing import Any

from calc.errors import REFUSALS, WARNINGS, CalcError
from calc.result import Evaluation

PATH = re.compile(r"\$(\.[a-z_]+|\[\d+\])*")
STEP = re.compile(r"\.([a-z_]+)|\[(\d+)\]")
ON_A_LIMIT = 1e-9  # points; what calc.acceptance counts as on it
LIMITS = ("lean", "in band", "rich")


def faults(form: Any, outcome: Any) -> list[str]:
    """What is wrong with the outcome of a form, each in a few words; nothing when all is well."""
    if isinstance(outcome, CalcError):
        return refusal_faults(form, outcome.code, outcome.where, outcome.message)
    if isinstance(outcome, Evaluation):
        return result_faults(form, outcome.as_dict())
    return [f"neither result nor refusal but {type(outcome).__name__}"]


def line_faults(form: Any, line: bytes) -> list[str]:
    """The same for one line of a stream; form is None where the line held none."""
    try:
        said = json.loads(line, parse_constant=_no_constant)
    except ValueError:
        return ["line out is not JSON"]
    if set(said) != {"error"}:
        return result_faults(form, said)
    error = said["error"]
    if set(error) != {"code", "where", "message"}:
        return ["error without code, where and message"]
    return refusal_faults(form, error["code"], error["where"], error["message"])


def refusal_faults(form: Any, code: str, where: str, message: str) -> list[str]:
    found = []
    if code not in REFUSALS:
        found.append(f"unknown refusal {code}")
    if not _is_sentence(message):
        found.append(f"no sentence for {code}")
    if not leads_somewhere(where, form, code):
        found.append(f"path of {code} leads nowhere")
    return found


def leads_somewhere(where: str, form: Any, code: str = "") -> bool:
    """Whether a path leads to an entry of the form; that of a missing key to where it would be.

    Without a form, whether it is a path at all.
    """
    if not PATH.fullmatch(where) or form is None:
        return bool(PATH.fullmatch(where))
    steps = [key or int(index) for key, index in STEP.findall(where)]
    if steps[:1] == ["flow_points"]:
        return True  # a place of the result
    if code == "missing_key":
        steps = steps[:-1]
    place = form
    for step in steps:
        try:
            place = place[step]
        except (KeyError, IndexError, TypeError):
            return False
    return True


def result_faults(form: Any, result: Any) -> list[str]:
    """What is wrong with a result as it is printed and stored."""
    try:
        json.dumps(result, allow_nan=False)
    except ValueError:
        return ["number that is not finite"]
    found = []
    band = result["band"]
    if not 0 <= band["lower"] <= band["upper"]:  # 1.3 times 5e-324 is 5e-324
        found.append("band out of order")
    for kind in ("samples", "flow_points"):
        for one in result[kind]:
            found += _one_result(one, band)
    names = [sample["name"] for sample in result["samples"]]
    if form is not None and names != [sample["name"] for sample in form["samples"]]:
        found.append("not one result for each sample")
    if (lack := result["lack_of_fit"]) and not (0 <= lack["probability"] <= 1 and lack["f"] >= 0):
        found.append("lack of fit out of range")
    for warned in result["warnings"]:
        found += _warning_faults(form, warned)
    return found


def _one_result(one: dict[str, Any], band: dict[str, float]) -> list[str]:
    low, high = one["interval"]
    percent = one["percent"]
    checks = {
        "interval out of order": low <= percent <= high,
        "uncertainty of 0 or less": one["standard_uncertainty"] > 0,
        "degrees of freedom out of range": one["degrees_of_freedom"] in range(4, 21, 2),
        "probability out of range": 0 <= one["probability_in_band"] <= 1
        and 0 <= one["probability_of_limits"] <= 1,
        "limits against the percent": one["limits"] == _limits(percent, **band),
        "unknown certainty": one["certainty"] in ("settled", "undecided"),
    }
    return [wrong for wrong, right in checks.items() if not right]


def _limits(percent: float, lower: float, upper: float) -> str:
    return LIMITS[1 + (percent > upper + ON_A_LIMIT) - (percent < lower - ON_A_LIMIT)]


def _warning_faults(form: Any, warned: dict[str, str]) -> list[str]:
    code, found = warned["code"], []
    if code not in WARNINGS:
        found.append(f"unknown warning {code}")
    if not _is_sentence(warned["message"]):
        found.append(f"no sentence for {code}")
    if not leads_somewhere(warned["where"], form):
        found.append(f"path of {code} leads nowhere")
    return found


def _is_sentence(words: str) -> bool:
    """Words for a person: one printable line that ends, with no number that is none."""
    numbers = re.search(r"(?<![\w\"])(nan|-?inf)(?![\w\"])", re.sub(r'"[^"]*"', "", words))
    return len(words) < 1000 and words.isprintable() and words.endswith(".") and not numbers


def same(one: Any, other: Any) -> bool:
    """Equal words, and numbers to 1e-12 relative."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float):
        return math.isclose(one, other, rel_tol=1e-12, abs_tol=0)
    return one == other


def plain(outcome: Any) -> Any:
    """An outcome as plain data, so that two may be compared."""
    if isinstance(outcome, CalcError):
        return {"error": [outcome.code, outcome.where, outcome.message]}
    return outcome.as_dict() if isinstance(outcome, Evaluation) else repr(outcome)


def _no_constant(name: str) -> Any:
    raise ValueError(name)
