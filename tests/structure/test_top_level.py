"""What lies at the top of the checkout, and the shape of what lies below."""

import subprocess
from pathlib import Path

TOP = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "calc",
    "docker-compose.yml",
    "fixtures",
    "itm",
    "manage.py",
    "pyproject.toml",
    "requirements-dev.txt",
    "requirements.txt",
    "templates",
    "tests",
}
VAGUE = {"utils", "helpers", "common", "managers", "signals", "misc"}
LONGEST = 400  # lines of a module


def kept(root: Path) -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=root, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [Path(line) for line in listed.stdout.splitlines()]


def test_top_level_holds_only_what_belongs_there(root: Path) -> None:
    assert {path.parts[0] for path in kept(root)} == TOP


def test_no_module_has_a_name_that_says_nothing(root: Path) -> None:
    assert [path for path in kept(root) if path.suffix == ".py" and path.stem in VAGUE] == []


def test_modules_stay_short(root: Path) -> None:
    long = {
        str(path)
        for path in kept(root)
        if path.suffix == ".py"
        and path.parts[0] in {"calc", "itm", "tests"}
        and "migrations" not in path.parts
        and (root / path).exists()
        and len((root / path).read_text().splitlines()) > LONGEST
    }
    assert long == set()


def test_nothing_is_kept_half_merged(root: Path) -> None:
    marks = [f"{mark * 7} ".encode() for mark in "<>"]
    torn = {
        str(path)
        for path in kept(root)
        if (root / path).is_file()
        and any(line.startswith(mark) for line in (root / path).open("rb") for mark in marks)
    }
    assert torn == set()
