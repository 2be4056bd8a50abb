"""`python -m calc evaluate`: a result and exit 0, or nothing but one sentence and exit 2."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import calc
from calc.__main__ import main
from tests.calc.benches import a_bench, readings

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "calc"]


def run(*arguments, data=b"", **options):
    return subprocess.run(
        [*COMMAND, *arguments], input=data, capture_output=True, cwd=ROOT, timeout=60, **options
    )


def in_process(*arguments, data=b""):
    stdout, stderr = io.BytesIO(), io.StringIO()
    code = main(arguments, io.BytesIO(data), stdout, stderr)
    return code, stdout.getvalue(), stderr.getvalue()


def expect_refusal(code, stdout, stderr):
    """Exit 2, nothing on standard output, one line `PATH: sentence` on standard error."""
    assert code == 2
    assert stdout == b""
    path, _, sentence = stderr.partition(": ")
    assert path.startswith("$")
    assert sentence.endswith("\n")
    assert stderr.count("\n") == 1
    assert "Traceback" not in stderr
    return path


def test_file_and_standard_input_give_the_same_result(tmp_path):
    data = json.dumps(a_bench()).encode()
    file = tmp_path / "test.json"
    file.write_bytes(data)
    from_file, from_stdin = run("evaluate", str(file)), run("evaluate", "-", data=data)
    assert (from_file.returncode, from_file.stderr) == (0, b"")
    assert from_file.stdout == from_stdin.stdout
    assert json.loads(from_file.stdout) == calc.evaluate(a_bench()).as_dict()


def test_result_is_utf_8_whatever_the_locale(tmp_path):
    bench = a_bench()
    bench["samples"][0]["name"] = "Flasche Ü-4 泡"
    bench["samples"][0]["readings"] = readings(1.33401, temperature_c=25.0)
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    done = run("evaluate", "-", data=json.dumps(bench).encode(), env=environment)
    assert done.returncode == 0
    result = json.loads(done.stdout.decode("utf-8"))
    assert result["samples"][0]["name"] == "Flasche Ü-4 泡"


def test_refusal_is_one_line_with_the_path():
    bench = a_bench()
    bench["samples"][1]["readings"][0]["value"] = "1,3340"
    done = run("evaluate", "-", data=json.dumps(bench).encode())
    path = expect_refusal(done.returncode, done.stdout, done.stderr.decode())
    assert path == "$.samples[1].readings[0].value"
    assert "plain number, without quotes" in done.stderr.decode()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xef\xbb\xbf",
        b"null",
        b"[1, 2",
        b"\xff",
        b"[" * 200_000,
        b'{"a":' * 200_000,
        b"9" * 50_000,
        b'{"method": NaN}',
        b'{"method": 1, "method": 2}',
        b'{"\\ud800": 1}',
        b'{"a\\u000ab": 1}',
        b'"' + b"x" * 100_000 + b'"',
    ],
)
def test_bad_text_gets_a_sentence_and_never_a_traceback(data):
    assert expect_refusal(*in_process("evaluate", "-", data=data))


@pytest.mark.parametrize(
    "arguments",
    [(), ("evaluate",), ("evaluate", "-", "-"), ("judge", "-"), ("--help",), ("evaluate", "a\0b")],
)
def test_wrong_arguments_get_a_sentence(arguments):
    assert expect_refusal(*in_process(*arguments)) == "$"


def test_missing_file_and_directory_get_a_sentence(tmp_path):
    for name in (tmp_path / "none.json", tmp_path):
        code, stdout, stderr = in_process("evaluate", str(name))
        expect_refusal(code, stdout, stderr)
        assert str(tmp_path) not in stderr


def test_deep_nesting_in_a_real_process_gets_a_sentence():
    done = run("evaluate", "-", data=b'{"a":[' * 500_000)
    expect_refusal(done.returncode, done.stdout, done.stderr.decode())


def test_endless_input_is_cut_off():
    with open("/dev/zero", "rb") as zeros:
        done = subprocess.run(
            [*COMMAND, "evaluate", "-"], stdin=zeros, capture_output=True, cwd=ROOT, timeout=60
        )
    expect_refusal(done.returncode, done.stdout, done.stderr.decode())


def test_full_disk_gets_a_sentence():
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [*COMMAND, "evaluate", "-"],
            input=json.dumps(a_bench()).encode(),
            stdout=full,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            timeout=60,
        )
    expect_refusal(done.returncode, b"", done.stderr.decode())


def test_reader_that_went_away_gets_no_traceback():
    reading_end, writing_end = os.pipe()
    os.close(reading_end)
    with os.fdopen(writing_end, "wb") as nobody:
        done = subprocess.run(
            [*COMMAND, "evaluate", "-"],
            input=json.dumps(a_bench()).encode(),
            stdout=nobody,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            timeout=60,
        )
    expect_refusal(done.returncode, b"", done.stderr.decode())


@pytest.mark.parametrize("closed", ["<&-", ">&-", "<&- >&-"])
def test_closed_streams_get_a_sentence(closed):
    shell = f'"{sys.executable}" -m calc evaluate - {closed}'
    done = subprocess.run(
        shell, shell=True, capture_output=True, cwd=ROOT, timeout=60, stdin=subprocess.DEVNULL
    )
    expect_refusal(done.returncode, done.stdout, done.stderr.decode())


def test_closed_standard_error_changes_nothing_else():
    shell = f'"{sys.executable}" -m calc evaluate - 2>&-'
    done = subprocess.run(
        shell, shell=True, capture_output=True, cwd=ROOT, timeout=60, stdin=subprocess.DEVNULL
    )
    assert (done.returncode, done.stdout) == (2, b"")


def test_import_of_the_engine_brings_no_framework_and_stays_quick():
    probe = (
        "import sys, calc; sys.exit(any(m.split('.')[0] in ('django', 'itm') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", probe], cwd=ROOT, timeout=60).returncode == 0
