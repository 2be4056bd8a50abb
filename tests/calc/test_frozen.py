"""Results of every released engine version stay readable, and do not move under one version.

The archives are this engine's own earlier output on invented inputs, not a check from outside:
that stands in published/. A failure here means: either the change was not meant, or the
engine version must be bumped and a new archive written (python -m fixtures.frozen.write).
"""

import json
from pathlib import Path

import pytest

import calc
from calc.direct_form import evaluate_direct
from calc.errors import WARNINGS

FROZEN = Path(__file__).parents[2] / "fixtures" / "frozen"
ARCHIVES = sorted(FROZEN.glob("[0-9]*/*.json"))  # beside them lie inputs, and forms of records
ENTRIES = [pytest.param(path, id=f"{path.parent.name} {path.stem}") for path in ARCHIVES]
DIRECT = FROZEN / "direct"
DIRECT_ENTRIES = [
    pytest.param(path, id=f"{path.parent.name} {path.stem}")
    for path in sorted(DIRECT.glob("[0-9]*/*.json"))
]
LASTING = ("percent", "limits", "name", "flow_point")  # of a result, under any later version


def load(path):
    return json.loads(path.read_text(encoding="utf-8"))


def without_words(result):
    """Sentences may be reworded at any time; code and place may not."""
    warnings = [{"code": w["code"], "where": w["where"]} for w in result["warnings"]]
    return {**result, "warnings": warnings}


def assert_same(now, then, where="$"):
    if isinstance(then, dict):
        assert set(now) == set(then), where
        for key in then:
            assert_same(now[key], then[key], f"{where}.{key}")
    elif isinstance(then, list):
        assert len(now) == len(then), where
        for i, entry in enumerate(then):
            assert_same(now[i], entry, f"{where}[{i}]")
    elif isinstance(then, float):
        # What 1 minus a probability leaves is the machine's; there as `verify_records` has it.
        dust = 1e-12 if "probability" in where.rpartition(".")[2] else 0
        assert now == pytest.approx(then, rel=1e-9, abs=dust), where
    else:
        assert now == then, where


@pytest.mark.parametrize("path", ENTRIES)
def test_archived_input_is_read_by_this_engine_with_the_same_percents(path):
    entry = load(path)
    now, then = calc.evaluate(entry["input"]).as_dict(), entry["result"]
    assert set(then) <= set(now)
    assert_same(now["line"], then["line"])
    assert_same(now["band"], then["band"])
    for kind in ("samples", "flow_points"):
        for new, old in zip(now[kind], then[kind], strict=True):
            assert set(old) <= set(new)
            lasting = [key for key in LASTING if key in old]
            assert_same({key: new[key] for key in lasting}, {key: old[key] for key in lasting})


@pytest.mark.parametrize(
    "path", [p for p in ENTRIES if p.values[0].parent.name == calc.__version__]
)
def test_result_does_not_move_while_the_version_stays(path):
    entry = load(path)
    now = calc.evaluate(entry["input"]).as_dict()
    assert_same(without_words(now), without_words(entry["result"]))


@pytest.mark.parametrize("path", DIRECT_ENTRIES)
def test_archived_direct_test_keeps_its_percents_and_under_one_version_everything(path):
    entry = load(path)
    now, then = evaluate_direct(entry["input"]).as_dict(), entry["result"]
    assert set(then) <= set(now)
    for new, old in zip(now["flow_points"], then["flow_points"], strict=True):
        lasting = [key for key in LASTING if key in old]
        assert_same({key: new[key] for key in lasting}, {key: old[key] for key in lasting})
    if path.parent.name == calc.__version__:
        assert_same(without_words(now), without_words(then))


@pytest.mark.parametrize(("folder", "least"), [(FROZEN, 8), (DIRECT, 5)])
def test_this_version_has_an_archive_of_every_input(folder, least):
    inputs = {path.name for path in (folder / "inputs").glob("*.json")}
    assert len(inputs) >= least
    assert inputs == {path.name for path in (folder / calc.__version__).glob("*.json")}


def test_archive_holds_every_warning_code():
    archived = {
        warned["code"]
        for folder in (FROZEN, DIRECT)
        for path in (folder / calc.__version__).glob("*.json")
        for warned in load(path)["result"]["warnings"]
    }
    assert archived == set(WARNINGS)
