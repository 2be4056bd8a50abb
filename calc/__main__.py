"""`python -m calc COMMAND FILE`: one JSON object in, what the engine finds as JSON out.

`python -m calc evaluate --lines FILE` takes one object a line and answers each on a line of its
own, with a result or with {"error": …}; it ends with exit 0 once all are answered.

Exit 0 with the result on standard output. Exit 2 with nothing on standard output and one line on
standard error, `PATH: sentence`, when anything is refused.
"""

import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, BinaryIO, TextIO

from calc.commands import COMMANDS
from calc.entries import LONGEST_INPUT, load
from calc.errors import CalcError
from calc.evaluate import evaluate
from calc.lines import evaluated_lines

REFUSED = 2


def main(
    argv: Sequence[str],
    stdin: BinaryIO | None,
    stdout: BinaryIO | None,
    stderr: TextIO | None,
) -> int:
    """Run the command on the arguments after the program's name; returns the exit code."""
    try:
        if len(argv) == 3 and tuple(argv[:2]) == ("evaluate", "--lines"):
            _each_line(argv[2], stdin, stdout)
            return 0
        if len(argv) != 2 or argv[0] not in ("evaluate", *COMMANDS):
            raise CalcError("usage", "$", others=", ".join(COMMANDS))
        result = _result(argv[0], load(_input(argv[1], stdin)))
        text = json.dumps(result, ensure_ascii=False, allow_nan=False, indent=2)
        _output(text.encode() + b"\n", stdout)
    except CalcError as error:
        if stderr is not None:
            print(error, file=stderr)
        return REFUSED
    return 0


def _result(command: str, given: Any) -> dict[str, Any]:
    return evaluate(given).as_dict() if command == "evaluate" else COMMANDS[command](given)


def _each_line(name: str, stdin: BinaryIO | None, stdout: BinaryIO | None) -> None:
    """Evaluate a stream of lines; each is answered on its own, so that none stops the others."""
    with _source(name, stdin) as source:
        for line in evaluated_lines(source, processes=os.cpu_count() or 1):
            _output(line, stdout)


def _input(name: str, stdin: BinaryIO | None) -> bytes:
    with _source(name, stdin) as source:
        return source.read(LONGEST_INPUT + 1)


@contextmanager
def _source(name: str, stdin: BinaryIO | None) -> Iterator[BinaryIO]:
    """The stream of that name, where reading may fail as well as opening."""
    try:
        if name != "-":
            with open(name, "rb") as file:
                yield file
            return
        if stdin is None:
            raise CalcError("unreadable", "$", why="standard input is closed")
        yield stdin
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name, or a closed stream
        if isinstance(error, CalcError):
            raise
        raise CalcError("unreadable", "$", why=_reason(error)) from None


def _output(data: bytes, stdout: BinaryIO | None) -> None:
    if stdout is None:
        raise CalcError("unwritable", "$", why="standard output is closed")
    try:
        stdout.write(data)
        stdout.flush()
    except (OSError, ValueError) as error:
        raise CalcError("unwritable", "$", why=_reason(error)) from None


def _reason(error: Exception) -> str:
    """The system's reason without the file name, which may hold anything."""
    reason = error.strerror if isinstance(error, OSError) else None
    return (reason or "it cannot be opened").lower()


def run() -> int:
    """The command on this process's own arguments and streams."""
    stdin = sys.stdin.buffer if sys.stdin else None
    stdout = sys.stdout.buffer if sys.stdout else None
    try:
        code = main(sys.argv[1:], stdin, stdout, sys.stderr)
    except KeyboardInterrupt:
        code = 130  # 128 + SIGINT, as a shell reports it
    if code:  # what is left in the buffer has no reader; do not let the exit flush it again
        _drop_output()
    return code


def _drop_output() -> None:
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    except OSError:
        return


if __name__ == "__main__":
    sys.exit(run())
