"""`evaluate --lines`: every line answered, in order, whatever its neighbours hold."""

import io
import json
import tracemalloc

import calc
from calc.lines import AT_ONCE, evaluated_lines
from tests.calc.benches import a_bench
from tests.calc.test_command import in_process, run


def test_each_line_has_its_answer_in_the_same_order():
    good = json.dumps(a_bench()).encode()
    data = b"\n".join([good, b"{}", b"", b"not json", b"\xff", good + b"\r"]) + b"\n"
    code, stdout, stderr = in_process("evaluate", "--lines", "-", data=data)
    answers = [json.loads(line) for line in stdout.splitlines()]
    assert (code, stderr, len(answers)) == (0, "", 6)
    assert answers[0] == answers[5] == calc.evaluate(a_bench()).as_dict()
    codes = [answer["error"]["code"] for answer in answers[1:5]]
    assert codes == ["missing_key", "empty_input", "not_json", "not_utf8"]
    assert all(answer["error"]["message"] for answer in answers[1:5])


def test_several_processes_answer_in_the_same_order():
    forms = [a_bench(nominal_percent=3 + i / 1000) for i in range(AT_ONCE + 40)]
    lines = [json.dumps(form).encode() for form in forms]
    lines[AT_ONCE + 20] = b"not json"
    data = b"\n".join(lines)
    shared_out = list(evaluated_lines(io.BytesIO(data), processes=2))
    assert shared_out == list(evaluated_lines(io.BytesIO(data)))
    assert len(shared_out) == len(lines)


def test_file_is_read_from_a_shell(tmp_path):
    file = tmp_path / "tests.jsonl"
    file.write_bytes(json.dumps(a_bench()).encode())  # no line end behind the last
    done = run("evaluate", "--lines", str(file))
    assert (done.returncode, done.stdout.count(b"\n"), done.stderr) == (0, 1, b"")


def test_missing_file_is_one_sentence():
    code, stdout, stderr = in_process("evaluate", "--lines", "no such file")
    assert (code, stdout, stderr.count("\n")) == (2, b"", 1)


def test_line_too_long_is_refused_and_the_next_one_read(monkeypatch):
    monkeypatch.setattr("calc.lines.LONGEST_INPUT", 5000)
    monkeypatch.setattr("calc.entries.LONGEST_INPUT", 5000)
    good = json.dumps(a_bench()).encode()
    answers = list(evaluated_lines(io.BytesIO(b" " * 12_000 + b"\n" + good)))
    assert json.loads(answers[0])["error"]["code"] == "too_long"
    assert "line" in json.loads(answers[1])


def test_memory_does_not_grow_with_the_stream():
    line = b'{"method": "unknown"}\n'

    def peak(count):
        tracemalloc.start()
        for _ in evaluated_lines(io.BytesIO(line * count)):
            pass
        most = tracemalloc.get_traced_memory()[1] - len(line) * count
        tracemalloc.stop()
        return most

    few = peak(2 * AT_ONCE)
    assert peak(8 * AT_ONCE) < 1.5 * few
