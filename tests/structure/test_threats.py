"""Each threat of the list for developers names a test that exists."""

import ast
import re
from pathlib import Path

LINE = re.compile(r"^\| (?P<threat>[^|]+) \| (?P<against>[^|]+) \| (?P<tests>[^|]+) \|$")


def threats(root: Path) -> dict[str, list[tuple[str, str]]]:
    guide = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = guide.split("\n## Threats\n")[1].split("\n## ")[0]
    found = [LINE.match(line) for line in part.splitlines()]
    rows = [row for row in found if row and row["threat"] not in ("threat", "---")]
    return {
        row["threat"]: [tuple(name.split("::")) for name in re.findall(r"`([^`]+)`", row["tests"])]
        for row in rows
    }  # type: ignore[misc]


def test_each_threat_names_its_tests(root: Path) -> None:
    listed = threats(root)
    assert len(listed) > 15
    gone = []
    for threat, tests in listed.items():
        assert tests, threat
        for module, name in tests:
            tree = ast.parse((root / "tests" / module).read_text(encoding="utf-8"))
            if name not in {one.name for one in tree.body if isinstance(one, ast.FunctionDef)}:
                gone.append((threat, module, name))
    assert gone == []
