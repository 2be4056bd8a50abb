"""Many tests from a stream, one JSON object a line; one line out for each, in the same order."""

import json
from collections.abc import Iterator
from itertools import islice
from typing import Any, BinaryIO

from calc.entries import LONGEST_INPUT, load
from calc.errors import CalcError
from calc.evaluate import evaluate_many

AT_ONCE = 512  # lines worked on together, own choice: memory stays small however long the stream


def evaluated_lines(source: BinaryIO) -> Iterator[bytes]:
    """A result or {"error": {code, where, message}} for each line, as UTF-8 with its line end.

    A line that cannot be read or evaluated harms no other. Memory holds some hundred lines.
    """
    lines = _lines(source)
    while block := list(islice(lines, AT_ONCE)):
        forms = [_loaded(line) for line in block]
        outcomes = iter(evaluate_many([f for f in forms if not isinstance(f, CalcError)]))
        for form in forms:
            outcome = form if isinstance(form, CalcError) else next(outcomes)
            yield _said(outcome).encode() + b"\n"


def _lines(source: BinaryIO) -> Iterator[bytes]:
    """Lines without their ends; of one that is too long, only as much as shows that it is."""
    while line := source.readline(LONGEST_INPUT + 1):
        rest = line
        while rest and not rest.endswith(b"\n"):
            rest = source.readline(LONGEST_INPUT + 1)
        yield line.rstrip(b"\r\n")


def _loaded(line: bytes) -> Any:
    try:
        return load(line)
    except CalcError as error:
        return error.with_traceback(None)  # whose frames would keep the line


def _said(outcome: Any) -> str:
    if isinstance(outcome, CalcError):
        answer = {"code": outcome.code, "where": outcome.where, "message": outcome.message}
        return json.dumps({"error": answer}, ensure_ascii=False)
    return json.dumps(outcome.as_dict(), ensure_ascii=False, allow_nan=False)
