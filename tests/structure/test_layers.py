"""Who may import whom: the rules of pyproject.toml hold, and each of them can fail."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

LINT = Path(sys.executable).with_name("lint-imports")


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [LINT, "--no-cache"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )


@pytest.fixture
def copy(root: Path, tmp_path: Path) -> Path:
    leave = shutil.ignore_patterns("__pycache__", "static")
    for package in ("itm", "calc"):
        shutil.copytree(root / package, tmp_path / package, ignore=leave)
    shutil.copy(root / "pyproject.toml", tmp_path)
    return tmp_path


def test_layers_hold(root: Path) -> None:
    done = lint(root)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("itm/core/odd.py", "import itm.web.guard", "Layers point down"),
        ("calc/odd.py", "import django", "calc stands alone"),
        ("itm/web/odd.py", "import itm.registry.models", "Pages and API never touch models"),
        ("itm/stray/__init__.py", "", "Layers point down"),
    ],
)
def test_layers_refuse_what_they_forbid(copy: Path, module: str, line: str, contract: str) -> None:
    (copy / module).parent.mkdir(exist_ok=True)
    (copy / module).write_text(f"{line}\n")
    done = lint(copy)
    assert done.returncode != 0
    assert f"{contract} BROKEN" in done.stdout
