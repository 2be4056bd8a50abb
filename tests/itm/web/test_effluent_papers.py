"""Effluent on sheets: sums, papers, what does not add up, and that nobody noted any.

Volumes by hand; 1 US gal is 3.785411784 L (NIST SP 811, Appendix B.8).
"""

import csv
import io
import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from itm.records import effluent
from itm.records.models import EffluentLine
from itm.trends import effluent as over_the_year
from itm.trends.effluent import of_year
from itm.web import inventory
from tests.deeds import tested
from tests.factories import TODAY, OrganisationFactory, SiteFactory, actor_of
from tests.itm.records.test_effluent import AT, litres, noted
from tests.itm.reports.archival import require_archival, require_no_orphan_heads
from tests.itm.reports.archival import text as as_read


def text(data: bytes) -> str:
    """Without the thin space of thousands, which comes out as a common one."""
    return re.sub(r"(?<=\b\d) (?=\d{3}\b)", "", as_read(data))


@pytest.fixture
def pdf(sign_in: Any) -> Any:
    def made(actor: Any, name: str, *args: Any, **query: Any) -> bytes:
        got = sign_in(Client(), actor).get(reverse(name, args=args), query)
        assert got.status_code == 200, got.status_code
        body: bytes = got.content
        return body

    return made


@pytest.fixture
def visit(scene: Any) -> Any:
    """A test day with 4,000 L discharged, 3,500 L collected and 3,000 L of that hauled away."""
    row = tested(scene).visit
    noted(scene, "discharged", 4000, visit=row, pfas="contains", happened_on=row.planned_on)
    noted(scene, "collected", 3500, visit=row, pfas="contains", happened_on=row.planned_on,
          place="Tote 7")  # fmt: skip
    noted(scene, "hauled", 3000, visit=row, pfas="contains", happened_on=TODAY, paper="W-2026-17",
          hauler="Invented haulier", place="Invented plant")  # fmt: skip
    return row


def in_us(actor: Any) -> None:
    actor.user.measures = "us"
    actor.user.save(by=actor)


def sheets(scene: Any, visit: Any) -> list[tuple[Any, ...]]:
    return [
        ("visit_report_pdf", visit.key),
        ("site_year_pdf", scene.site.key, TODAY.year),
        ("pfas_pdf",),
    ]


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_each_sheet_names_sums_papers_and_the_difference(
    scene: Any, visit: Any, pdf: Any, size: str
) -> None:
    for name, *named in sheets(scene, visit):
        made = pdf(scene.authority, name, *named, size)
        require_archival(made, size=size)
        heads = ("What came out, and where it went", f"Effluent until {TODAY:%-d %b %Y}")
        require_no_orphan_heads(made, heads)
        said = text(made)
        for words in (
            "4000 L", "3500 L", "3000 L", "not noted", "W-2026-17", "Invented haulier",
            "Invented plant",
            "500 L of what was discharged is noted neither as collected nor as not collected.",
            "500 L that was collected is not noted as hauled away.",
        ):  # fmt: skip
            assert words in said, (name, words)


def test_sheets_speak_the_units_of_their_reader(scene: Any, visit: Any, pdf: Any) -> None:
    """4,000 L are 1,056.7, 3,500 L 924.6, 3,000 L 792.5 and 500 L 132.1 US gal."""
    in_us(scene.owner)
    for name, *named in sheets(scene, visit):
        said = text(pdf(scene.owner, name, *named, "letter"))
        assert "1057 US gal" in said, name
        assert "792.5 US gal" in said, name
        assert "132.1 US gal of what was discharged" in said, name
        assert "500 L" not in said.replace("3500 L", ""), name
    whole = text(pdf(scene.owner, "visit_report_pdf", visit.key, "a4"))
    assert "(typed 4000 L)" in whole


def test_what_nobody_noted_is_said_and_is_not_nothing(scene: Any, pdf: Any) -> None:
    row = tested(scene).visit
    said = text(pdf(scene.owner, "visit_report_pdf", row.key, "a4"))
    assert "Not noted: nobody noted what was discharged, collected or hauled away" in said
    assert "By flow and time of 2 runs at least" in said
    year = text(pdf(scene.owner, "site_year_pdf", scene.site.key, TODAY.year, "a4"))
    assert "Not noted: nobody noted effluent of this year." in year
    assert "Nothing is noted of 1 of 1 test day: 15 Jun 2026" in year
    assert "not noted; nothing noted of 1 of 1 test days" in year
    pfas = text(pdf(scene.owner, "pfas_pdf", "a4"))
    assert "Not noted: of no site that" in pfas
    assert "0 L" not in said.partition("What came out")[2].partition("Deficiencies")[0]


def test_a_withdrawn_line_stays_to_be_read_and_is_in_no_sum(
    scene: Any, visit: Any, pdf: Any
) -> None:
    line = EffluentLine.objects.get(kind="discharged")
    effluent.correct(
        actor=scene.contractor, line=line, because="the meter was read wrong", today=TODAY, at=AT,
        happened_on=visit.planned_on, volume=litres(3600), pfas="contains",
    )  # fmt: skip
    for name, *named in sheets(scene, visit)[:2]:
        said = text(pdf(scene.owner, name, *named, "a4"))
        assert "withdrawn: the meter was read wrong" in said, name
        assert "Discharged 3600 L" in said, name
        assert "100 L of what was discharged" in said, name
    pfas = text(pdf(scene.owner, "pfas_pdf", "a4"))
    assert "3600 L" in pfas
    assert "4000 L" not in pfas


def test_what_december_left_is_hauled_in_january(scene: Any) -> None:
    """Each line in its own year; what stands there counts from the first line on."""
    noted(scene, "collected", 800, who="owner", happened_on=date(2025, 12, 28))
    noted(scene, "hauled", 800, who="owner", happened_on=date(2026, 1, 9))
    before, after = (of_year(scene.owner, scene.site, year) for year in (2025, 2026))
    assert before.standing.on_site == pytest.approx(0.8)
    assert after.standing.on_site == 0
    assert [line.kind for line in after.lines] == ["hauled"]
    assert after.balance.on_site == pytest.approx(-0.8)  # so the sheet prints the other


def test_a_year_costs_the_same_for_few_lines_and_many(scene: Any, visit: Any) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            found.append(of_year(scene.owner, scene.site, TODAY.year))
        return len(queries)

    found: list[Any] = []
    few = cost()
    for _ in range(12):
        noted(scene, "discharged", 10, visit=visit)
    assert cost() == few
    assert found[-1].count == found[0].count + 12


def test_long_lists_say_what_they_leave_out(
    scene: Any, visit: Any, pdf: Any, monkeypatch: Any
) -> None:
    monkeypatch.setattr(over_the_year, "MOST", 1)
    year = text(pdf(scene.owner, "site_year_pdf", scene.site.key, TODAY.year, "a4"))
    assert "the first 1 of 3" in year
    assert "3500 L" in year  # the sums hold all
    noted(scene, "hauled", 100, visit=visit, paper="W-2026-18")
    monkeypatch.setattr(inventory, "HAULED_MOST", 1)
    pfas = text(pdf(scene.owner, "pfas_pdf", "a4"))
    assert "the first 1 of 2" in pfas
    assert "W-2026-18" in pfas
    assert "W-2026-17" not in pfas


def test_the_inventory_ends_with_its_day_and_sums_by_status(
    scene: Any, visit: Any, pdf: Any
) -> None:
    noted(scene, "discharged", 250, who="owner", pfas="free", happened_on=TODAY)
    later = TODAY + timedelta(days=9)
    effluent.note(
        actor=scene.contractor, site=scene.site, visit=visit, today=later, kind="hauled",
        happened_on=later, volume=litres(500), pfas="contains", place="Invented plant",
        hauler="Invented haulier", paper="W-2026-99",
    )  # fmt: skip
    before = text(pdf(scene.owner, "pfas_pdf", "a4", on=str(later - timedelta(days=1))))
    assert "W-2026-99" not in before
    assert "500 L that was collected is not noted as hauled away" in before
    after = text(pdf(scene.owner, "pfas_pdf", "a4"))
    assert "Contains PFAS 4000 L 3500 L not noted 3500 L" in after
    assert "hauled away." not in after.partition("Effluent until")[2].partition("Day Number")[0]
    assert "250 L not noted not noted not noted" in after
    assert "750 L of what was discharged" in after  # over every status of the site


def test_who_sees_no_site_sees_no_effluent(scene: Any, visit: Any, pdf: Any) -> None:
    nobody = actor_of(OrganisationFactory(kind="authority"))
    said = text(pdf(nobody, "pfas_pdf", "a4"))
    assert "W-2026-17" not in said
    assert "Not noted: of no site" in said


def test_the_table_holds_every_line_of_every_site_until_the_day(
    scene: Any, visit: Any, sign_in: Any
) -> None:
    other = SiteFactory(owner=scene.owner.organisation, name="=Another site")
    effluent.note(
        actor=scene.owner, site=other, visit=None, today=TODAY, kind="discharged",
        happened_on=TODAY, volume=litres(70),
    )  # fmt: skip
    client = sign_in(Client(), scene.owner)
    answer = client.get(reverse("pfas_effluent_csv"))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["Volume, L"] for row in rows if "Another" in row["Site"]] == ["70.0"]
    assert [row["Number of the paper"] for row in rows if row["What"] == "Hauled away"] == [
        "W-2026-17"
    ]
    assert len(rows) == 4
    page = client.get(reverse("pfas_inventory")).content.decode()
    assert "W-2026-17" in page
    assert reverse("pfas_effluent_csv") in page
