"""Trends on paper: what the page draws, says and lists, in its order, on both sizes of paper.

All figures are invented. What a trend says is held against its sources in tests/calc and
tests/itm/trends; here the sheet is held against its page.
"""

import html
import re
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.reports.plot_svg import picture
from itm.web import drawing, trend_papers
from tests.checks import checked, lot_of
from tests.factories import OrganisationFactory, ProportionerFactory, actor_of
from tests.factories_past import PastCheckLineFactory
from tests.itm.reports.archival import elements, pages, read, require_archival, text
from tests.itm.trends.kept import kept, visited
from tests.itm.trends.test_beside import FALLING, LEVEL, second, years  # noqa: F401
from tests.itm.web.test_past_checks import index_line

HOSTILE = '<img src="file:///etc/passwd"><script>alert(1)</script>'
SHEETS = ("trend_pdf", "tank_history_pdf", "lot_history_pdf", "side_by_side_pdf")


@pytest.fixture
def get(sign_in: Any) -> Any:
    def ask(actor: Any, name: str, *args: Any, **query: Any) -> Any:
        return sign_in(Client(), actor).get(reverse(name, args=args), query)

    return ask


@pytest.fixture
def pdf(get: Any) -> Any:
    def made(actor: Any, name: str, *args: Any, **query: Any) -> bytes:
        got = get(actor, name, *args, **query)
        assert (got.status_code, got["Content-Type"]) == (200, "application/pdf")
        assert got["Cache-Control"] == "private, no-store"
        body: bytes = got.content
        return body

    return made


@pytest.fixture
def over_years(scene: Any) -> Any:
    """Six falling results of the proportioner, one as left, one that was corrected, and two
    checks of its tank."""
    years(scene, FALLING)
    visit = visited(scene.contractor, scene.proportioner, date(2026, 3, 1))
    bad = kept(scene, {"design": 2.71}, on=date(2026, 3, 1), visit=visit, limits="lean")
    kept(scene, {"design": 2.92}, on=date(2026, 3, 1), visit=visit, limits="lean", amends=bad,
         amendment_reason="misread label")  # fmt: skip
    kept(scene, {"design": 3.33}, on=date(2026, 3, 1), visit=visit, phase="as_left",
         adjusted="orifice renewed")  # fmt: skip
    lot_of(scene)
    for year in (2025, 2026):
        checked(scene, on=date(year, 6, 15), purpose="again")
    return scene


def named(scene: Any, name: str) -> list[Any]:
    return {
        "trend_pdf": [scene.proportioner.key],
        "tank_history_pdf": [scene.tank.key],
        "lot_history_pdf": [scene.tank.movements.get(kind="fill").lot.key],
        "side_by_side_pdf": [],
    }[name]


def page_of(name: str) -> str:
    return name.removesuffix("_pdf")


def words(answer: Any) -> str:
    """Of a page, without its marks and drawings."""
    body = re.sub(r"<(svg|style|script)\b.*?</\1>", " ", answer.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", body)))


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize("name", SHEETS)
def test_every_sheet_is_archival_and_of_its_paper(
    over_years: Any, pdf: Any, name: str, size: str
) -> None:
    made = pdf(over_years.authority, name, *named(over_years, name), size)
    drawn = [n for n, said in enumerate(pages(made), 1) if "limits" in said or "band" in said]
    reader = require_archival(made, size=size, plotted=drawn)
    assert elements(reader, "/Figure") or name == "side_by_side_pdf"  # too few results there


@pytest.mark.parametrize("name", SHEETS)
def test_no_table_is_wider_than_its_paper(
    over_years: Any, pdf: Any, name: str, monkeypatch: Any
) -> None:
    """Margins are asked of every page where no drawing has coordinates of its own."""
    empty = picture(640, 40, "A plot", [])
    monkeypatch.setattr(drawing, "trend_plot", lambda series, width: empty)
    for size in ("a4", "letter"):
        require_archival(pdf(over_years.owner, name, *named(over_years, name), size), size=size)


def test_the_trend_prints_what_its_page_says(over_years: Any, get: Any, pdf: Any) -> None:
    scene = over_years
    page = get(scene.owner, "trend", scene.proportioner.key)
    said = text(pdf(scene.owner, "trend_pdf", scene.proportioner.key, "a4"))
    sentences = re.findall(r"<li>(.*?)</li>", page.content.decode().split("What the years say")[1])
    assert sentences
    for sentence in sentences:
        assert html.unescape(sentence) in said.replace("\u00ad", ""), sentence
    for wanted in (
        "periodic, as left", "adjusted: orifice renewed", "misread label", "2.71", "2.92",
        "a later record corrects it", "Corrected since, not in the line", "Tests that were due",
        "Acceptance band:",
    ):  # fmt: skip
        assert wanted in said, wanted
    assert reverse("trend_pdf", args=[scene.proportioner.key, "letter"]) in page.content.decode()


def test_the_drawing_is_that_of_the_page_and_once(over_years: Any, get: Any, pdf: Any) -> None:
    """The words of the plot for readers are those of the page, one figure a flow point."""
    scene = over_years
    page = get(scene.owner, "trend", scene.proportioner.key).content.decode()
    titles = map(html.unescape, re.findall(r"<svg[^>]*><title>(.*?)</title>", page))
    figures = elements(read(pdf(scene.owner, "trend_pdf", scene.proportioner.key, "a4")), "/Figure")
    told = [str(one["/Alt"]) for one in figures]
    assert told == list(dict.fromkeys(titles))


def test_tank_and_lot_print_what_their_pages_say(over_years: Any, get: Any, pdf: Any) -> None:
    scene = over_years
    for name in ("tank_history_pdf", "lot_history_pdf"):
        args = named(scene, name)
        page = words(get(scene.owner, page_of(name), *args))
        said = text(pdf(scene.owner, name, *args, "a4"))
        for wanted in ("Limits of the latest check:", "Certificate:", "What the years say",
                       "15 Jun 2026", "15 Jun 2025", "Too few results"):  # fmt: skip
            assert wanted in page, wanted
            assert wanted in said, wanted
        assert "Values of sealed checks that no later record corrects" in said


def test_side_by_side_prints_what_the_page_was_asked_for(
    scene: Any, request: Any, get: Any, pdf: Any
) -> None:
    another = request.getfixturevalue("second")
    years(scene, LEVEL)
    years(scene, FALLING, another)
    made = pdf(scene.owner, "side_by_side_pdf", "a4", order="place", by="age")
    assert elements(require_archival(made, plotted=[1]), "/Figure")
    said = text(made)
    assert "first comes site and tag" in said
    assert "By age of the system" in said
    assert "falling (6 results" in said
    assert "95 %:" in said
    assert said.index(scene.proportioner.tag) < said.index("PR-2")
    narrowed = text(pdf(scene.owner, "side_by_side_pdf", "a4", find="nowhere", kind="bladder"))
    assert "Only: sites with “nowhere”" in narrowed
    assert "No proportioner with a sealed test fits what was asked for" in narrowed
    page = get(scene.owner, "side_by_side", order="place", page=2).content.decode()
    there = reverse("side_by_side_pdf", args=["letter"])
    assert f"{there}?order=place" in page


def test_flow_stands_in_the_units_of_the_reader(over_years: Any, pdf: Any) -> None:
    """The page and the sheet go through the same filter; 1 US gal is 3.785411784 L (NIST SP 811,
    Appendix B.8)."""
    scene = over_years
    point = scene.proportioner.flow_points.order_by("-flow").first()
    gallons = f"{point.flow * 60000 / 3.785411784:.4g}"[:3]
    assert "gpm" not in text(pdf(scene.owner, "trend_pdf", scene.proportioner.key, "a4"))
    scene.owner.user.measures = "us"
    scene.owner.user.save(by=scene.owner)
    said = text(pdf(scene.owner, "trend_pdf", scene.proportioner.key, "letter"))
    assert f"(typed {point.flow_typed})" in said
    assert gallons in said.replace(" ", "")


def test_whoever_has_nothing_yet_reads_that(scene: Any, pdf: Any) -> None:
    device = ProportionerFactory(system=scene.system)
    assert "No sealed test yet" in text(pdf(scene.owner, "trend_pdf", device.key, "a4"))
    for name, said in (
        ("tank_history_pdf", "No sealed check yet. The history begins with the first one."),
        ("lot_history_pdf", "No sealed check yet of a tank that held this lot alone."),
        ("side_by_side_pdf", "No sealed test yet. The comparison begins with the first ones."),
    ):
        made = pdf(scene.owner, name, *named(scene, name), "a4")
        require_archival(made)
        assert said in text(made), name


def test_hostile_names_are_the_text_they_are(over_years: Any, get: Any) -> None:
    scene = over_years
    scene.site.name = HOSTILE[:80]
    scene.site.save(by=scene.owner)
    for name in ("trend_pdf", "tank_history_pdf", "side_by_side_pdf"):
        got = get(scene.owner, name, *named(scene, name), "a4")
        assert "<script>alert(1)</script>"[:20] in text(got.content).replace(" ", ""), name
        assert "<" not in got["Content-Disposition"]


def test_a_stranger_and_another_paper_are_not_found(over_years: Any, get: Any) -> None:
    stranger = actor_of(OrganisationFactory(kind="owner"))
    for name in SHEETS:
        args = named(over_years, name)
        if args:
            assert get(stranger, name, *args, "a4").status_code == 404, name
        assert get(over_years.owner, name, *args, "a0").status_code == 404, name


def test_long_tables_say_what_they_leave_out(over_years: Any, pdf: Any, monkeypatch: Any) -> None:
    scene = over_years
    monkeypatch.setattr(trend_papers, "MOST", 2)
    monkeypatch.setattr(trend_papers, "MOST_SERIES", 1)
    monkeypatch.setattr(trend_papers, "MOST_BESIDE", 1)
    assert "the newest first: the newest 2 of 8" in text(
        pdf(scene.owner, "trend_pdf", scene.proportioner.key, "a4")
    )
    assert "Printed are the first 1 of" in text(
        pdf(scene.owner, "tank_history_pdf", scene.tank.key, "a4")
    )
    kept(scene, {"minimum": 3.2}, on=date(2026, 4, 1))
    assert "The first 1 of 2; the table for a spreadsheet holds all." in text(
        pdf(scene.owner, "side_by_side_pdf", "a4")
    )


def test_heads_are_repeated_on_every_page_of_a_table(scene: Any, pdf: Any) -> None:
    for year in range(1975, 2026):
        kept(scene, {"design": 3.3}, on=date(year, 6, 1))
    made = pages(pdf(scene.owner, "trend_pdf", scene.proportioner.key, "a4"))
    holding = [one for one in made if one.count("periodic, as") > 3]
    assert len(holding) > 1
    for one in holding:
        assert "95 % interval" in one
        assert "Tested on" in one


def test_a_sheet_costs_the_same_for_few_results_and_many(scene: Any, pdf: Any) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            trend_papers.of_device(scene.owner, scene.proportioner.key)
        return len(queries)

    years(scene, LEVEL)
    few = cost()
    for month in range(1, 9):
        kept(scene, {"design": 3.3}, on=date(2026, month, 3))
    assert cost() == few


def test_what_older_papers_report_stands_apart_and_says_so(scene: Any, pdf: Any) -> None:
    index_line(scene, outcome="within limits")
    PastCheckLineFactory(
        tank=scene.tank, name="", value=None, value_typed="", point="", outcome="fit for use"
    )
    made = pdf(scene.owner, "tank_history_pdf", scene.tank.key, "letter")
    require_archival(made, size="letter", plotted=[1])
    said = text(made)
    assert "As older papers report: brought in from a table, not computed or sealed here" in said
    for wanted in ("1,3702", "Checks as a whole, by older papers", "fit for use"):
        assert wanted in said, wanted
    assert "What the years say" not in said
