"""The report in the units of its reader and on other paper, from the same sealed bytes.

Converted figures are checked against NIST SP 811, Appendix B.8 (factors from memory): 1 US gal is
3.785 412 L, 1 psi is 6.894 757 kPa, 1 in is 25.4 mm; and t/°F = 1.8 t/°C + 32, exact.
"""

import copy
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from itm.core.measures import FAMILIES, Measures, reading_in
from itm.reports.choices import SIZES
from itm.reports.render import Copy, html_for_pdf, pdf
from itm.reports.units import in_readers_units
from tests.itm.reports import sample
from tests.itm.reports.archival import pages, require_archival, text

UNITS = "Quantities stand in US customary."


def written(document: dict[str, Any]) -> Iterator[str]:
    """Every text of a document that is a number with a unit behind it."""
    for value in document.values():
        yield from _texts(value)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from written(value)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)


def with_outlets() -> dict[str, Any]:
    form = sample.document()
    form["runs"][1]["outlets"] = ["38 mm; 0.90; 2.1 bar"]
    form["tank"]["contents"] = [{"lot": "L", "volume": "1450 L", "share_percent": "100.0"}]
    form["direct"] = {
        "vessel": {"shape": "upright cylinder", "heads": "", "diameter": "1.2 m", "length": "",
                   "width": "", "height": "2 m", "level_step": "1 mm"},
        "weighing": {"step": "0.1 kg", "error": "0.2 kg", "density": "1020 kg/m³"},
        "runs": [{"concentrate": {"flow": "58 L/min", "start": "100 L", "end": "158 L"},
                  "second": {"flow": "1900 L/min", "start": "", "end": ""},
                  "level_before": "1.5 m", "level_after": "1.4 m", "mass_before": "950 kg",
                  "mass_after": "900 kg",
                  "baseline": {"liquid_flow": "57 L/min", "second_flow": "1890 L/min"}}],
    }  # fmt: skip
    return form


def test_what_was_typed_in_the_readers_units_makes_the_very_same_document() -> None:
    form = sample.document()
    with reading_in(Measures.SI):
        assert in_readers_units(form) is form


def test_quantities_are_worked_out_and_the_record_stays_as_it_was() -> None:
    form = with_outlets()
    before = copy.deepcopy(form)
    with reading_in(Measures.US):
        shown = in_readers_units(form)
    assert form == before
    run = shown["runs"][1]
    assert run["solution_flow"] == "507.2 US gpm (summed 1920 L/min)"  # 1920 / 3.785412
    assert shown["runs"][0]["solution_flow"] == "161.1 US gpm (typed 610 L/min)"
    assert run["inlet_pressure"] == "88.47 psi (typed 6.1 bar)"  # 610 / 6.894757
    assert run["outlets"] == ["1.496 in (typed 38 mm); 0.90; 30.46 psi (typed 2.1 bar)"]
    assert shown["visit"]["ambient_c"] == "70.7 °F (typed 21.5 °C)"  # 21.5 × 1.8 + 32
    assert shown["tank"]["contents"][0]["volume"] == "383 US gal (by the book 1450 L)"  # 383.05
    assert shown["direct"]["runs"][0]["mass_before"] == "2\u2009094 lb (typed 950 kg)"
    for kept in ("bench", "evaluation", "seal", "moves", "test"):
        assert shown[kept] is form[kept]


def test_no_quantity_of_a_document_is_forgotten() -> None:
    """Whatever is a number with a metric unit is found by its looks, wherever it stands; bench work
    and the densities that go with it stay as typed."""
    metric = [unit for kind in FAMILIES[Measures.SI] for unit in kind if unit != "mL"]
    alone = re.compile(rf"[\d.,\s]+ ({'|'.join(map(re.escape, metric))})")
    form = with_outlets()
    assert sum(bool(alone.fullmatch(one)) for one in written(form)) > 20
    with reading_in(Measures.US):
        left = [one for one in written(in_readers_units(form)) if alone.fullmatch(one)]
    assert left == []


@pytest.mark.parametrize("size", SIZES)
def test_a_copy_is_as_archival_as_the_report_and_says_what_it_is(size: str) -> None:
    form = sample.document()
    data, digest = sample.seal_of(form)
    with reading_in(Measures.US):
        sheet = sample.paper_of(in_readers_units(form), digest=digest)
    once, again = (
        pdf(sheet, record=data, digest=digest, copy=Copy(SIZES[size], UNITS, "us"))
        for _ in range(2)
    )
    assert once == again
    plot = next(n for n, page in enumerate(pages(once), 1) if "strip" in page)
    reader = require_archival(once, size=size, plotted=plot)
    said = text(once)
    assert f"A copy on {SIZES[size]} of the report that is kept on A4 as it was typed" in said
    assert UNITS in said
    assert "507.2 US gpm (typed 1920 L/min)" in said
    assert json.loads(reader.attachments["record.json"][0]) == form
    assert reader.attachments["record.json"][0] == data


def test_the_kept_report_says_nothing_of_copies() -> None:
    page = html_for_pdf(sample.paper_of(sample.document()))
    assert "A copy on" not in page
    assert "(typed" not in page
