"""Evaluate tests: their forms in, lines, percents, limits, certainty and warnings out.

One test is a batch of one: the arithmetic runs over all tests at once (`calc.batch`), the words
are found for each (`calc.findings`).
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from calc.batch import answers
from calc.checks import LEAST_PERCENTS, different_percents
from calc.errors import CalcError
from calc.findings import Findings, findings
from calc.fit_checks import fit_checks
from calc.form import Bench, read
from calc.inverse import instrument_sd
from calc.other_line import other_line
from calc.result import Evaluation
from calc.stack import fit_percents, stacked, subjects_of
from calc.temperatures import corrected

AT_ONCE = 1024  # forms that are worked on together, own choice

Outcome = Evaluation | CalcError


def evaluate(data: Any) -> Evaluation:
    """Evaluate one proportioning test.

    Parameters
    ----------
    data : dict in the form of one test, as JSON gives it; numbers may be int, float or Decimal.

    Returns
    -------
    Evaluation. Sample and flow-point percents in % by volume, intervals two-sided 95 %.

    Raises: CalcError, any code, with the JSON path of the entry.
    Notes: bottle means; line; read off; limits by the plain value; certainty. The result depends
    on nothing but the canonical form whose digest it carries.
    Source: the modules named in the imports give theirs. Check: tests/calc/test_evaluate.py.
    """
    (outcome,) = evaluate_many([data])
    if isinstance(outcome, CalcError):
        raise outcome
    return outcome


def evaluate_many(forms: Iterable[Any]) -> list[Outcome]:
    """Evaluate many tests of any size, each as `evaluate` would alone.

    Parameters
    ----------
    forms : iterable of forms, as `evaluate` takes one.

    Returns
    -------
    One Evaluation or one CalcError a form, in the same order; a form that is refused touches no
    other.

    Source: as `evaluate`. Check: tests/calc/test_batch.py, to 1e-12 relative against `evaluate`.
    """
    readings = [_read(form) for form in forms]
    outcomes: list[Outcome] = []
    for start in range(0, len(readings), AT_ONCE):
        outcomes += _evaluated(readings[start : start + AT_ONCE])
    return outcomes


def _read(form: Any) -> Bench | CalcError:
    try:
        bench = corrected(read(form))
    except CalcError as error:
        return error.with_traceback(None)  # whose frames would keep the form
    count = different_percents(fit_percents(bench, bench.include_water))
    if count < LEAST_PERCENTS:
        return CalcError("too_few_percents", "$.standards", count=count)
    return bench


def _evaluated(forms: Sequence[Bench | CalcError]) -> list[Outcome]:
    """The outcomes of forms already read; each kind of fit and each size is its own batch."""
    outcomes: dict[int, Outcome] = {}
    kinds: dict[tuple[str, int, int], dict[int, Bench]] = {}
    for i, form in enumerate(forms):
        if isinstance(form, CalcError):
            outcomes[i] = form
        else:
            kind = (form.fit, _size(len(form.standards)), _size(len(form.samples)))
            kinds.setdefault(kind, {})[i] = form
    for (fit, _, _), benches in kinds.items():
        with np.errstate(all="ignore"):  # what overflows is refused, with a sentence
            outcomes |= zip(benches, _batch(list(benches.values()), fit), strict=True)
    return [outcomes[i] for i in range(len(forms))]


def _size(count: int) -> int:
    """Lists that are filled up to one length: up to 31 entries, from there on each doubling.

    Beside one test of thousands of bottles the arrays of a thousand others would fill the memory.
    """
    return max(count, 31).bit_length()


def _batch(benches: list[Bench], fit: str) -> list[Outcome]:
    try:
        found = _found(benches, fit)
    except CalcError as error:
        if len(benches) > 1:  # one of them breaks the arrays of all: each alone
            return [outcome for bench in benches for outcome in _batch([bench], fit)]
        where = error.where if error.where.startswith("$") else "$.standards"
        return [CalcError("beyond_numbers", where)]
    return [_outcome(one) for one in found]


def _found(benches: list[Bench], fit: str) -> list[Findings]:
    subjects = [subjects_of(bench) for bench in benches]
    arrays = stacked(benches, subjects)
    least_sd = np.array(
        [instrument_sd(b.instrument.width, b.instrument.repeatability) for b in benches]
    )
    found = answers(arrays, fit)
    other = other_line(benches, arrays, fit)
    return findings(benches, subjects, found, other, fit_checks(arrays, found.line, least_sd))


def _outcome(findings: Findings) -> Outcome:
    try:
        return findings.evaluation()
    except CalcError as error:
        return error.with_traceback(None)
