"""The lock: every package pinned and hashed, no host named, all of pyproject's wishes covered."""

import re
import tomllib
from pathlib import Path

import pytest

LOCKS = ["requirements.txt", "requirements-dev.txt"]


def pins(text: str) -> dict[str, str]:
    """Package → version, from lines such as `django==5.2.19 \\`."""
    return dict(re.findall(r"^([a-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)", text, re.MULTILINE))


def name_of(wish: str) -> str:
    found = re.match(r"[A-Za-z0-9._-]+", wish)
    assert found, wish
    return re.sub(r"[-_.]+", "-", found[0]).lower()


@pytest.mark.parametrize("lock", LOCKS)
def test_lock_names_no_host(root: Path, lock: str) -> None:
    text = (root / lock).read_text()
    assert "://" not in text
    assert not re.search(r"^\s*(-i|--index-url|--extra-index-url|-f|--find-links)\b", text, re.M)


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_of_the_lock_has_a_hash(root: Path, lock: str) -> None:
    text = re.sub(r"\\\n", " ", (root / lock).read_text())
    lines = [one for one in text.splitlines() if one.strip() and not one.lstrip().startswith("#")]
    assert len(lines) > 20
    assert [one for one in lines if "==" not in one or "--hash=sha256:" not in one] == []


def test_locks_cover_what_the_project_asks_for(root: Path) -> None:
    project = tomllib.loads((root / "pyproject.toml").read_text())
    runtime = {name_of(wish) for wish in project["project"]["dependencies"]}
    dev = {name_of(wish) for wish in project["dependency-groups"]["dev"]}
    locked = {lock: set(pins((root / lock).read_text())) for lock in LOCKS}
    assert runtime - locked["requirements.txt"] == set()
    assert (runtime | dev) - locked["requirements-dev.txt"] == set()
    assert dev & locked["requirements.txt"] == set()


def test_tests_run_on_the_versions_that_are_shipped(root: Path) -> None:
    runtime, dev = (pins((root / lock).read_text()) for lock in LOCKS)
    assert {name: dev.get(name) for name in runtime} == runtime
