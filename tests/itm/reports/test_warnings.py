"""Every warning of the engine reaches people with its place in words, and lack of fit its sentence.

The warnings come from the archives of the present engine version: inputs that raise each of them.
"""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.template.loader import render_to_string

import calc
from calc.errors import WARNINGS
from itm.reports import content_bench, content_results
from itm.reports.render import page_context
from itm.reports.wording import SiteClock
from itm.web.results_page import warnings as on_page
from tests.itm.reports import sample

ARCHIVES = Path(__file__).parents[3] / "fixtures" / "frozen"
# Tests by a bench, and those by a direct method.
NEWEST = (ARCHIVES / calc.__version__, ARCHIVES / "direct" / calc.__version__)
CLOCK = SiteClock("Europe/Lisbon", date(2026, 5, 12))
NO_PLACE = {"temperature_unknown"}  # where all of the bench is meant, no bottle is named


def raised() -> dict[str, dict[str, Any]]:
    """One warning of each code, with the record it stands in."""
    found: dict[str, dict[str, Any]] = {}
    for file in sorted(file for folder in NEWEST for file in folder.glob("*.json")):
        kept = json.loads(file.read_text())
        for warned in kept["result"]["warnings"]:
            found.setdefault(warned["code"], {"warned": warned, **kept})
    return found


def record(kept: dict[str, Any]) -> dict[str, Any]:
    """A record whose bench has as many standards as the archived input."""
    form = sample.document()
    form["evaluation"]["result"] = kept["result"]
    form["bench"]["bottles"] = [
        {"role": "premix standard", "label": f"S{i}", "percent": 1.0,
         "readings": [{"set_aside": None, "read_at": "2026-05-12T09:00:00Z"}]}
        for i, _ in enumerate(kept["input"].get("standards", ()), start=1)
    ]  # fmt: skip
    form["evaluation"]["result"]["warnings"] = [kept["warned"]]
    return form


def test_the_archive_raises_every_warning() -> None:
    assert set(raised()) == set(WARNINGS)


@pytest.mark.parametrize("code", WARNINGS)
def test_every_warning_says_where_and_ends_in_something_to_do(code: str) -> None:
    form = record(raised()[code])
    [line] = content_results.warnings(form)
    assert line.where or code in NO_PLACE
    assert "$" not in line.where
    assert "_" not in line.where
    assert not line.text[0].islower()
    assert line.text.endswith(".")
    assert "{" not in line.text
    assert len(line.text) > 60  # more than its name
    assert (line.where, line.text) in on_page(form, CLOCK)


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("$.standards", "standards"),
        ("$.standards[1]", "standard S3"),
        ("$.water", "test water"),
        ("$.water_again", "test water, read again"),
        ("$.concentrate", "undiluted concentrate"),
        ("$.instrument.resolution", "instrument"),
        ("$.flow_points[1]", "flow point design"),
        ("$", ""),
    ],
)
def test_a_path_of_the_engine_becomes_a_place_on_the_bench(where: str, words: str) -> None:
    form = sample.document()
    form["evaluation"]["result"]["warnings"] = [{"where": where, "message": "m"}]
    assert [line.where for line in content_results.warnings(form)] == [words]


# Lack of fit -------------------------------------------------------------------------------------


def test_lack_of_fit_is_said_with_its_chance() -> None:
    """The figures are the engine's, held against a published method in tests/calc."""
    kept = json.loads((NEWEST[0] / "standards_disagree_with_their_repeats.json").read_text())
    document = sample.document()
    document["evaluation"]["result"]["lack_of_fit"] = kept["result"]["lack_of_fit"]
    found = content_bench.fit_words(document)
    assert "vary about the line 59 times as much as their own repeats explain" in found
    assert "chance alone gives as much in 0.002 of 100 benches" in found
    document["evaluation"]["result"]["lack_of_fit"] = {"f": 1.24, "probability": 0.31}
    assert "1.2 times" in content_bench.fit_words(document)
    assert "in 31 of 100 benches" in content_bench.fit_words(document)


def test_without_repeats_it_says_why_and_an_old_engine_is_not_asked() -> None:
    form = sample.document()
    form["evaluation"]["result"]["lack_of_fit"] = None
    assert "no bottle of the line was read twice" in content_bench.fit_words(form)
    page = render_to_string("report/report.html", page_context(sample.paper_of(form), styles=[]))
    assert "Lack of fit: not told apart from scatter" in page
    del form["evaluation"]["result"]["lack_of_fit"]
    assert content_bench.fit_words(form) == ""
