"""Many tests from a stream, one JSON object a line; one line out for each, in the same order."""

import json
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import islice
from multiprocessing import get_context
from typing import Any, BinaryIO

from calc.entries import LONGEST_INPUT, load
from calc.errors import CalcError
from calc.evaluate import evaluate_many

AT_ONCE = 512  # lines worked on together, own choice: memory stays small however long the stream


def evaluated_lines(source: BinaryIO, processes: int = 1) -> Iterator[bytes]:
    """A result or {"error": {code, where, message}} for each line, as UTF-8 with its line end.

    A line that cannot be read or evaluated harms no other. Memory holds some hundred lines for each
    process. Others than this one start only where the stream goes on after the first block.
    """
    lines = _lines(source)
    blocks = iter(lambda: list(islice(lines, AT_ONCE)), [])
    yield from _answers(next(blocks, []))
    if processes == 1:
        for block in blocks:
            yield from _answers(block)
    elif (second := next(blocks, None)) is not None:
        yield from _shared_out(second, blocks, processes)


def _shared_out(
    block: list[bytes], blocks: Iterator[list[bytes]], processes: int
) -> Iterator[bytes]:
    """The answers of this block and all further ones, in order, by several processes."""
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        waiting = deque([pool.submit(_answers, block)])
        for later in blocks:
            waiting.append(pool.submit(_answers, later))
            if len(waiting) > 2 * processes:
                yield from waiting.popleft().result()
        for one in waiting:
            yield from one.result()


def _answers(lines: list[bytes]) -> list[bytes]:
    forms = [_loaded(line) for line in lines]
    outcomes = iter(evaluate_many([f for f in forms if not isinstance(f, CalcError)]))
    return [
        _said(form if isinstance(form, CalcError) else next(outcomes)).encode() + b"\n"
        for form in forms
    ]


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
