"""README, DEVELOPERS.md and .ci/run say the same as the code and as each other."""

import os
import re
import tomllib
from pathlib import Path

import pytest

INSTALL = (
    "python3 -m venv .venv && .venv/bin/pip install -q uv && "
    ".venv/bin/uv pip install -q -p .venv -r "
)
PANGO = {"libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0"}


def commands(text: str) -> list[str]:
    """Lines of the shell blocks."""
    blocks = re.findall(r"^```sh\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    return [line for block in blocks for line in block.splitlines()]


def test_readme_sets_up_with_exactly_two_commands(root: Path) -> None:
    found = [one for one in commands((root / "README.md").read_text()) if "-m venv" in one]
    assert found == [
        INSTALL + "requirements.txt && .venv/bin/python manage.py demo",
        INSTALL + "requirements-dev.txt && .venv/bin/python -m pytest",
    ]


def test_ci_takes_its_test_command_from_the_readme(root: Path) -> None:
    script = (root / ".ci/run").read_text()
    pattern = re.search(r"^TESTS=\$\(grep -E '(.+)' README\.md\)$", script, re.MULTILINE)
    assert pattern
    lines = (root / "README.md").read_text().splitlines()
    assert [one for one in lines if re.search(pattern[1], one)] == [
        INSTALL + "requirements-dev.txt && .venv/bin/python -m pytest"
    ]
    assert "set -euo pipefail" in script
    assert os.access(root / ".ci/run", os.X_OK)


@pytest.mark.parametrize("name", ["README.md", ".ci/run", "docker-compose.yml"])
def test_packages_that_draw_the_pdf_are_asked_for_everywhere(root: Path, name: str) -> None:
    assert {package for package in PANGO if package in (root / name).read_text()} == PANGO


def test_every_dependency_says_what_it_saves(root: Path) -> None:
    project = tomllib.loads((root / "pyproject.toml").read_text())
    wishes = project["project"]["dependencies"] + project["dependency-groups"]["dev"]
    names = {re.split(r"[\[<>=]", wish)[0] for wish in wishes}
    text = (root / "DEVELOPERS.md").read_text().split("## Dependencies\n")[1]
    told = set(re.findall(r"^\| ([a-z0-9-]+) \| [^|]{15,} \|$", text, re.MULTILINE))
    assert names ^ told == set()


def test_links_of_the_documents_lead_somewhere(root: Path) -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        text = (root / name).read_text()
        links = re.findall(r"\]\((?!http)([^)#]+)", text)
        assert [link for link in links if not (root / link).exists()] == []


def test_recipes_take_at_most_six_steps(root: Path) -> None:
    text = (root / "DEVELOPERS.md").read_text()
    recipes = text.split("## Recipes\n")[1].split("\n## ")[0].split("\n### ")[1:]
    assert len(recipes) >= 4
    for recipe in recipes:
        steps = re.findall(r"^\d+\. ", recipe, re.MULTILINE)
        assert 1 <= len(steps) <= 6, recipe.splitlines()[0]


def test_no_file_holds_what_is_left_of_a_merge(root: Path) -> None:
    """A template with the marks of a conflict renders, and shows both sides to the reader."""
    marks = re.compile(r"^(<{7}|>{7}) ", re.MULTILINE)
    kinds = {".py", ".html", ".js", ".css", ".md", ".json", ".txt", ".yml", ".toml"}
    folders = ("itm", "calc", "templates", "tests", "fixtures")
    files = [one for folder in folders for one in (root / folder).rglob("*")]
    held = [one for one in files if one.suffix in kinds and marks.search(one.read_text())]
    assert held == []
