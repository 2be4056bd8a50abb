"""Whether any form at all gets a result or a sentence: random forms through the engine.

    python -m tests.perf.fuzz [--count 100000] [--seed 1]

Every form goes through `evaluate_many` in chunks, every tenth through `evaluate` as well, every
hundredth through `evaluate --lines`, once whole and once as a damaged line. What is promised stands
in tests/perf/judge.py; one form and many must agree to 1e-12. A warning of numpy is a fault. Each
kind of fault is printed with the smallest form that did it, and ends with exit 1.
"""

import argparse
import io
import itertools
import json
import random
import sys
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import calc
from calc.__main__ import main as command
from calc.errors import CalcError
from tests.perf.judge import faults, line_faults, plain, same
from tests.perf.odd_forms import damaged_text, odd_forms

CHUNK, ALONE, LINES = 500, 10, 100
LONGEST_SHOWN = 5000  # characters of a form


def through_lines(stream: bytes) -> bytes:
    """The stream through `evaluate --lines`, in this process."""
    out, err = io.BytesIO(), io.StringIO()
    code = command(["evaluate", "--lines", "-"], io.BytesIO(stream), out, err)
    if code or err.getvalue():
        raise RuntimeError(f"exit {code}: {err.getvalue()}")
    return out.getvalue()


@dataclass(frozen=True)
class Engine:
    """The ways into the engine; a test puts others in, to see that they are found out."""

    many: Callable[[Sequence[Any]], list[Any]] = calc.evaluate_many
    one: Callable[[Any], Any] = calc.evaluate
    lines: Callable[[bytes], bytes] = through_lines


@dataclass
class Fault:
    times: int
    example: Any  # the smallest form or stream that did it
    size: int


@dataclass
class Found:
    """What came of a run."""

    forms: int = 0
    results: int = 0
    refusals: Counter[str] = field(default_factory=Counter)
    warned: Counter[str] = field(default_factory=Counter)
    alone: int = 0
    lines: int = 0
    faults: dict[str, Fault] = field(default_factory=dict)

    def note(self, kind: str, example: Any) -> None:
        size = len(example) if isinstance(example, bytes) else len(repr(example))
        known = self.faults.setdefault(kind, Fault(0, example, size))
        known.times += 1
        if size < known.size:
            known.example, known.size = example, size


def run(count: int, seed: int, engine: Engine | None = None) -> Found:
    """Put `count` forms of this seed to the engine."""
    found, engine = Found(), engine or Engine()
    forms = itertools.islice(odd_forms(seed), count)
    choose = random.Random(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        while chunk := list(itertools.islice(forms, CHUNK)):
            outcomes = _many(chunk, engine, found)
            for i, (form, outcome) in enumerate(zip(chunk, outcomes, strict=True), found.forms):
                if isinstance(outcome, Raised):
                    continue
                _count(form, outcome, found)
                if i % ALONE == 0:
                    _alone(form, outcome, engine, found)
            whole = [pair for pair in zip(chunk, outcomes, strict=True) if _has_json(pair[0])]
            _lines(whole[:: LINES if len(chunk) >= LINES else 1], choose, engine, found)
            found.forms += len(chunk)
    return found


class Raised:
    """Stands where no outcome came."""


def _many(chunk: list[Any], engine: Engine, found: Found) -> list[Any]:
    """Outcomes of a chunk. Where it bursts, each form alone, and the burst is noted."""
    try:
        outcomes = engine.many(chunk)
        if len(outcomes) == len(chunk):
            return outcomes
        found.note("not one outcome a form", chunk)
        return [Raised()] * len(chunk)
    except Exception as error:  # anything at all is what is looked for
        if len(chunk) == 1:
            found.note(_kind(error), chunk[0])
            return [Raised()]
    half, before = len(chunk) // 2, sum(fault.times for fault in found.faults.values())
    outcomes = _many(chunk[:half], engine, found) + _many(chunk[half:], engine, found)
    if sum(fault.times for fault in found.faults.values()) == before:
        found.note("burst of forms that are well alone", chunk)
    return outcomes


def _count(form: Any, outcome: Any, found: Found) -> None:
    if isinstance(outcome, CalcError):
        found.refusals[outcome.code] += 1
    elif isinstance(outcome, calc.Evaluation):
        found.results += 1
        found.warned.update({warned.code for warned in outcome.warnings})
    try:
        kinds = faults(form, outcome)
    except Exception as error:  # a sentence that cannot be made, a result that cannot be written
        kinds = [_kind(error)]
    for kind in kinds:
        found.note(kind, form)


def _alone(form: Any, outcome: Any, engine: Engine, found: Found) -> None:
    found.alone += 1
    try:
        alone = engine.one(form)
    except CalcError as refused:
        alone = refused
    except Exception as error:
        found.note(_kind(error), form)
        return
    if not same(plain(outcome), plain(alone)):
        found.note("alone and among many differ", form)


def _has_json(form: Any) -> bool:
    """Whether a form can be written as a line of JSON that reads back as itself."""
    try:
        return json.loads(json.dumps(form)) == form
    except (TypeError, ValueError):
        return False


def _lines(
    pairs: Sequence[tuple[Any, Any]], choose: random.Random, engine: Engine, found: Found
) -> None:
    """Each form as a line and as a damaged line; the first must get what it got before."""
    texts: list[bytes] = []
    for form, _ in pairs:
        texts += [json.dumps(form).encode(), damaged_text(form, choose)]
    if not texts:
        return
    try:
        answers = engine.lines(b"\n".join(texts) + b"\n").splitlines()
    except Exception as error:
        found.note(f"lines: {_kind(error)}", b"\n".join(texts))
        return
    found.lines += len(texts)
    if len(answers) != len(texts):
        found.note("lines: not one line out for each line in", b"\n".join(texts))
        return
    for (form, outcome), answer, text, other in zip(
        pairs, answers[::2], texts[1::2], answers[1::2], strict=True
    ):
        for kind in _line_kinds(form, answer):
            found.note(f"lines: {kind}", form)
        for kind in _line_kinds(None, other):
            found.note(f"lines: {kind}", text)
        if not isinstance(outcome, Raised) and not _same_line(outcome, answer):
            found.note("lines: line and form differ", form)


def _line_kinds(form: Any, answer: bytes) -> list[str]:
    try:
        return line_faults(form, answer)
    except Exception as error:
        return [_kind(error)]


def _same_line(outcome: Any, answer: bytes) -> bool:
    try:
        said = json.loads(answer)
    except ValueError:
        return False
    if isinstance(said, dict) and set(said) == {"error"}:
        said = {"error": list(said["error"].values())}
    return same(plain(outcome), said)


def _kind(error: Exception) -> str:
    """What was raised and where, so that one fault is counted as one."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if Path(frame.filename).parent.name in ("calc", "perf")]
    where = f" in {Path(own[-1].filename).name}, {own[-1].name}" if own else ""
    return f"{type(error).__name__}: {str(error)[:80]}{where}"


def report(found: Found) -> Iterator[str]:
    yield (
        f"{found.forms} forms: {found.results} results, {sum(found.refusals.values())} refusals of "
        f"{len(found.refusals)} kinds; {found.alone} also alone, {found.lines} lines"
    )
    yield "refusals: " + ", ".join(f"{code} {n}" for code, n in found.refusals.most_common())
    yield "warnings: " + ", ".join(f"{code} {n}" for code, n in found.warned.most_common())
    yield f"{sum(fault.times for fault in found.faults.values())} faults"
    for kind, fault in found.faults.items():
        yield f"{fault.times} x {kind}\n    {str(fault.example)[:LONGEST_SHOWN]}"


def main(argv: Sequence[str] | None = None, engine: Engine | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.perf.fuzz")
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(argv)
    found = run(given.count, given.seed, engine)
    for line in report(found):
        print(line.encode("ascii", "backslashreplace").decode())
    return 1 if found.faults else 0


if __name__ == "__main__":
    sys.exit(main())
