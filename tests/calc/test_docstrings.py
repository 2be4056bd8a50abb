"""Every formula says where it comes from and where it is checked; every constant its unit."""

import inspect
import re
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
REFERENCE = (ROOT / "fixtures" / "reference" / "check-values.json").read_text()
MODULES = sorted(path.stem for path in (ROOT / "calc").glob("[a-z]*.py"))
WITH_FORMULAS = [
    "acceptance",
    "canonical",
    "chloride",
    "concentrate",
    "concentrate_form",
    "control",
    "criteria",
    "direct",
    "discovery",
    "glassware",
    "hydraulics",
    "hints",
    "inverse",
    "kendall",
    "line",
    "measured",
    "mixing",
    "outlying",
    "quality",
    "properties",
    "ranks",
    "readings",
    "standards",
    "student",
    "supply",
    "trend",
    "trend_form",
    "vessels",
    "water",
]
NO_FORMULA = {
    "decimal_as_written": "reads a number",
}


def public_functions(name):
    module = import_module(f"calc.{name}")
    for own, value in vars(module).items():
        if own.startswith("_") or getattr(value, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(value):
            yield own, value
        elif inspect.isclass(value):
            for part, inner in vars(value).items():
                if isinstance(inner, property) and not part.startswith("_"):
                    yield f"{own}.{part}", inner.fget


FUNCTIONS = [
    pytest.param(function, id=f"{name}.{own}")
    for name in WITH_FORMULAS
    for own, function in public_functions(name)
    if own not in NO_FORMULA
]


@pytest.mark.parametrize("function", FUNCTIONS)
def test_formula_names_its_source_and_its_check(function):
    text = inspect.getdoc(function) or ""
    assert re.search(r"^(?:.*[.:] )?Source: \S", text, re.MULTILINE), "no Source"
    assert re.search(r"Check:\s+\S", text), "no Check"


@pytest.mark.parametrize("function", FUNCTIONS)
def test_named_check_exists(function):
    _, _, check = (inspect.getdoc(function) or "").partition("Check:")
    rows = re.findall(r"\b[A-J]-\d\d\b", check)
    files = re.findall(r"tests/calc/[\w/]+\.py", check)
    assert rows or files or "arithmetic" in check
    assert all(f'"{row}"' in REFERENCE for row in rows)
    assert all((ROOT / file).exists() for file in files)


def test_list_of_functions_without_a_formula_is_not_stale():
    names = {own for name in WITH_FORMULAS for own, _ in public_functions(name)}
    assert set(NO_FORMULA) <= names


@pytest.mark.parametrize("name", MODULES)
def test_every_number_among_the_constants_says_what_it_is(name):
    text = (ROOT / "calc" / f"{name}.py").read_text()
    for line in text.splitlines():
        if re.match(r"[A-Z][A-Z0-9_, ]* = [-\d]", line):
            assert "#" in line, line
