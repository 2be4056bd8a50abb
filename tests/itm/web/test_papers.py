"""Sheets made at once: what they print, for whom, on which paper, and when there is nothing."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from itm.findings import asking, deciding, impairing
from itm.findings.models import Deficiency
from itm.reports.address import check_path
from itm.web import inventory, wrong_papers
from tests.checks import checked
from tests.deeds import discharged, inspection_of, prepared, read, restored, tested
from tests.factories import (
    TODAY,
    ConcentrateLotFactory,
    OrganisationFactory,
    TankFactory,
    TankFillFactory,
    actor_of,
)
from tests.itm.reports.archival import pages, require_archival, text

LEAN = {"minimum": 2.0, "design": 3.4}
NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)
HOSTILE = '<img src="file:///etc/passwd"><script>alert(1)</script>'


@pytest.fixture
def get(sign_in: Any) -> Any:
    """The answer to a person who is signed in."""

    def ask(actor: Any, name: str, *args: Any, **query: Any) -> Any:
        return sign_in(Client(), actor).get(reverse(name, args=args), query)

    return ask


@pytest.fixture
def pdf(get: Any) -> Any:
    def made(actor: Any, name: str, *args: Any, **query: Any) -> bytes:
        got = get(actor, name, *args, **query)
        assert got.status_code == 200, got.status_code
        assert got["Content-Type"] == "application/pdf"
        assert got["Cache-Control"] == "private, no-store"
        body: bytes = got.content
        return body

    return made


@pytest.fixture
def lean(scene: Any) -> Deficiency:
    tested(scene, LEAN)
    found: Deficiency = Deficiency.objects.get(cause="lean", spot="minimum")
    return found


# Every kind ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize(
    ("name", "who"),
    [
        ("pfas_pdf", "owner"),
        ("deficiencies_pdf", "owner"),
        ("visit_report_pdf", "contractor"),
        ("jurisdiction_pdf", "authority"),
        ("site_year_pdf", "authority"),
    ],
)
def test_every_sheet_is_archival_and_of_its_paper(
    scene: Any, lean: Deficiency, pdf: Any, name: str, who: str, size: str
) -> None:
    named = {
        "visit_report_pdf": [lean.test.visit.key],
        "site_year_pdf": [scene.site.key, TODAY.year],
    }.get(name, [])
    require_archival(pdf(getattr(scene, who), name, *named, size), size=size)


@pytest.mark.parametrize("name", ["pfas_pdf", "deficiencies_pdf", "jurisdiction_pdf"])
def test_paper_of_another_size_is_not_found(scene: Any, get: Any, name: str) -> None:
    assert get(scene.authority, name, "a0").status_code == 404


@pytest.mark.parametrize("name", ["pfas_pdf", "deficiencies_pdf", "jurisdiction_pdf"])
def test_whoever_sees_nothing_gets_a_sheet_that_says_so(pdf: Any, db: None, name: str) -> None:
    nobody = actor_of(OrganisationFactory(kind="authority"))
    said = text(pdf(nobody, name, "a4"))
    assert nobody.organisation_name in said
    assert any(
        words in said
        for words in ("stood anywhere on this day", "No deficiency is on record", "No owner has")
    )


def test_hostile_names_are_the_text_they_are(scene: Any, get: Any, pdf: Any) -> None:
    scene.site.name = HOSTILE[:80]
    scene.site.save(by=scene.owner)
    visit = tested(scene, LEAN).visit
    for who, name, *named in (
        (scene.owner, "pfas_pdf"), (scene.owner, "deficiencies_pdf"),
        (scene.owner, "visit_report_pdf", visit.key), (scene.authority, "jurisdiction_pdf"),
    ):  # fmt: skip
        got = get(who, name, *named, "a4")
        assert "<script>alert(1)</script>"[:20] in text(got.content).replace(" ", ""), name
        assert "<" not in got["Content-Disposition"]


# PFAS inventory -----------------------------------------------------------------------------------


def test_the_inventory_prints_the_totals_of_the_day(scene: Any, pdf: Any) -> None:
    """By hand: 950 L of unknown status; 500 L with PFAS until they were drained on 1 June 2024."""
    bad = ConcentrateLotFactory(owner=scene.owner.organisation, pfas="contains", batch="BAD")
    drained = TankFactory(site=scene.site, tag="DRY-1")
    TankFillFactory(tank=drained, lot=bad, volume=0.5)
    TankFillFactory(tank=drained, lot=None, kind="drain", moved_on=date(2024, 6, 1), volume=None,
                    volume_typed="", reason="changed over")  # fmt: skip
    before = text(pdf(scene.owner, "pfas_pdf", "a4", on="2024-05-31"))
    assert "31 May 2024" in before
    assert "Contains PFAS 500 L in 1 tank" in before
    assert "BAD" in before
    after = text(pdf(scene.owner, "pfas_pdf", "a4", on="2024-06-01"))
    assert "Contains PFAS 0 L nowhere" in after
    assert "Not known 950 L in 1 tank" in after


def test_the_inventory_speaks_the_units_of_its_reader(scene: Any, pdf: Any) -> None:
    """950 L are 950/3.785411784 = 251.0 US gal (NIST SP 811, Appendix B.8)."""
    scene.owner.user.measures = "us"
    scene.owner.user.save(by=scene.owner)
    said = text(pdf(scene.owner, "pfas_pdf", "a4"))
    assert "251 US gal" in said
    assert "950 L" not in said


def test_a_long_inventory_says_what_it_leaves_out(scene: Any, pdf: Any, monkeypatch: Any) -> None:
    TankFillFactory(tank=TankFactory(site=scene.site), lot=ConcentrateLotFactory())
    monkeypatch.setattr(inventory, "MOST", 1)
    assert "the first 1 of 2 lines" in text(pdf(scene.owner, "pfas_pdf", "a4"))


# Deficiencies -------------------------------------------------------------------------------------


def test_the_list_says_what_is_wrong_since_when_and_who_was_told(
    scene: Any, lean: Deficiency, pdf: Any
) -> None:
    assert "nobody noted" in text(pdf(scene.owner, "deficiencies_pdf", "a4"))
    deciding.tell(
        actor=scene.contractor, deficiency=lean, who="Duty engineer", told_at=NOW, how="by phone",
        reference="C-17", at=NOW,
    )  # fmt: skip
    said = text(pdf(scene.owner, "deficiencies_pdf", "a4"))
    assert "Lean at minimum" in said
    assert "Duty engineer, 20 Jun 2026 13:00 +01:00, by phone, C-17" in said  # Lisbon in summer
    assert "Impairment 1 open" in said
    assert "found on 15 Jun 2026" in said


def test_what_is_out_stands_with_whom_its_day_told(scene: Any, pdf: Any) -> None:
    prepared(scene)
    impairing.open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a cracked hose",
        coordinator="Duty engineer", started_at=NOW, at=NOW,
    )  # fmt: skip
    said = text(pdf(scene.authority, "deficiencies_pdf", "a4"))
    assert "a cracked hose; Duty engineer" in said
    assert "Monitoring company" in said  # told before the test day took the system out
    assert "Out of service now 2 times" in said


def test_the_list_is_narrowed_as_the_page_was(scene: Any, lean: Deficiency, pdf: Any) -> None:
    said = text(pdf(scene.owner, "deficiencies_pdf", "a4", **{"class": "3", "find": "hose"}))
    assert "Only: Class: Noncritical deficiency; with “hose”" in said
    assert "No deficiency fits what was asked for" in said
    here = text(pdf(scene.owner, "deficiencies_pdf", "a4", site=str(scene.site.key)))
    assert scene.site.name in here
    assert "Only:" not in here


def test_a_long_list_says_what_it_leaves_out(
    scene: Any, lean: Deficiency, pdf: Any, monkeypatch: Any
) -> None:
    deciding.note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="A sign is gone",
        found_on=TODAY, at=NOW,
    )  # fmt: skip
    monkeypatch.setattr(wrong_papers, "MOST", 1)
    said = text(pdf(scene.owner, "deficiencies_pdf", "a4"))
    assert "The first 1 of 2" in said
    assert "On this list 2, 2 of them open" in said


def test_the_page_of_a_report_names_what_stands_beside_the_record(
    scene: Any, lean: Deficiency, get: Any
) -> None:
    from itm.reports.services import render_report

    page = get(scene.authority, "report", lean.test.key).content.decode()
    assert "Beside this record" in page
    assert "No part of the sealed record" in page
    assert "Lean at minimum" in page
    assert "nobody noted as told" in page
    render_report(str(lean.test.key))
    sealed = get(scene.authority, "report_pdf", lean.test.key)
    assert "Beside this record" not in text(sealed.content)


# The visit ----------------------------------------------------------------------------------------


def test_the_visit_prints_its_day_its_records_and_who_signed(
    scene: Any, get: Any, pdf: Any
) -> None:
    sealed = tested(scene)
    check = checked(scene, on=date(2026, 6, 15))
    inspection = inspection_of(scene, on=date(2026, 6, 15))
    said = text(pdf(scene.authority, "visit_report_pdf", sealed.visit.key, "a4"))
    for words in (
        "A crew of two", "annual proportioning test", "the owner's duty engineer",
        "Monitoring company", "1 proportioning test, 1 concentrate check, 0 inspections",
        f"Sealed record {sealed.seal.number} of the site", f"tank {scene.tank.tag}",
        scene.contractor.person, "Foam systems technician, L-1",
    ):  # fmt: skip
        assert words in said, words
    for seal in (sealed.seal, check.seal):
        assert seal.digest in said.replace(" ", "")
        assert check_path(seal) in said.replace(" ", "")
    assert inspection.visit is None  # so it is none of this visit's
    page = get(scene.owner, "visit_report", sealed.visit.key).content.decode()
    assert reverse("report", args=[sealed.key]) in page
    assert reverse("check_report", args=[check.key]) in page


def test_each_signature_stands_whole_on_one_page(scene: Any, pdf: Any) -> None:
    sealed = tested(scene)
    checks = [checked(scene, on=date(2026, 6, 15), purpose="again") for _ in range(5)]
    made = pages(pdf(scene.owner, "visit_report_pdf", sealed.visit.key, "a4"))
    for seal in (sealed.seal, *(one.seal for one in checks)):
        [page] = [one for one in made if f"Sealed record {seal.number} of the site" in one]
        flat = page.replace("\n", "").replace(" ", "")
        assert seal.digest in flat
        assert f"Record{seal.number}:scantocheck." in flat
    [heads] = [one for one in made if "Signatures and seals" in one]
    assert f"Sealed record {sealed.seal.number} of the site" in heads


def test_what_is_not_signed_is_no_record_and_hidden_from_the_authority(
    scene: Any, pdf: Any
) -> None:
    waits = tested(scene, until="handed_in")
    seen = text(pdf(scene.owner, "visit_report_pdf", waits.visit.key, "a4"))
    assert "Handed in and not signed:" in seen
    assert "handed in, not signed" in seen
    hidden = text(pdf(scene.authority, "visit_report_pdf", waits.visit.key, "a4"))
    assert "0 proportioning tests" in hidden
    assert "No test of this visit that" in hidden
    assert "in band" not in hidden


def test_a_visit_under_way_and_a_line_left_out_cannot_be_overlooked(scene: Any, pdf: Any) -> None:
    from itm.actions import restore

    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    first = day.test.visit.restoration_lines.order_by("position").first()
    restore.end_line(
        actor=day.actor, line=first, outcome="left_out", at=day.tick(), reason="valve seized",
        handed_to="Shift foreman", handed_at=day.now,
    )  # fmt: skip
    restored(day)
    said = text(pdf(scene.contractor, "visit_report_pdf", day.test.visit.key, "a4"))
    assert "Out of service still" in said
    assert "valve seized; handed over to Shift foreman" in said
    assert "no result while it is not handed in" in said


def test_a_planned_visit_is_its_crews_alone(scene: Any, get: Any) -> None:
    from itm.records import services

    plan = services.plan_visit(
        actor=scene.contractor, site=scene.site, planned_on=TODAY, crew="A crew of two"
    )
    page = get(scene.contractor, "visit_report", plan.key).content.decode()
    assert "the test day has not begun" in page
    assert get(scene.owner, "visit_report", plan.key).status_code == 404


def test_a_corrected_record_says_by_which(scene: Any, pdf: Any) -> None:
    from itm.actions.amend import amend
    from itm.actions.hand_in import hand_in
    from itm.actions.sign import sign

    first = tested(scene)
    at = NOW + timedelta(days=1)
    second = amend(actor=scene.contractor, key=first.key, reason="a bottle was mixed up", at=at)
    hand_in(actor=scene.contractor, key=second.key, at=at)
    sign(
        actor=scene.contractor, key=second.key, at=at, name=scene.contractor.person,
        qualification="Foam systems technician", number="L-1",
    )  # fmt: skip
    said = text(pdf(scene.owner, "visit_report_pdf", first.visit.key, "a4"))
    assert "corrected by 2" in said
    assert "record 2 stands in its place" in said


# The jurisdiction ---------------------------------------------------------------------------------


def test_the_jurisdiction_counts_what_its_pages_show(
    scene: Any, lean: Deficiency, get: Any, pdf: Any
) -> None:
    asking.order(
        actor=scene.authority, site=scene.site, words="Retest the rack",
        due_on=date(2026, 7, 1), at=NOW,
    )  # fmt: skip
    said = text(pdf(scene.authority, "jurisdiction_pdf", "a4"))
    for words in (
        "1 site, 1 foam system", "Lean or rich 1", "Impairment, open 1", "Lean at minimum",
        "Retest the rack", "Orders open 1", scene.proportioner.tag,
    ):  # fmt: skip
        assert words in said, words
    home = get(scene.authority, "home").content.decode()
    assert reverse("jurisdiction") in home
    assert "Lean or rich" in home


def test_a_result_that_nobody_signed_moves_no_system_of_the_jurisdiction(
    scene: Any, pdf: Any
) -> None:
    tested(scene, LEAN, until="handed_in")
    said = text(pdf(scene.authority, "jurisdiction_pdf", "a4"))
    assert "Lean or rich 0" in said
    assert "no result yet" in said or "No system is out of service" in said
    assert "Lean at minimum" in said  # what is wrong is seen from the moment it exists


def test_only_an_authority_has_a_jurisdiction(scene: Any, get: Any) -> None:
    for name, *named in (
        ("jurisdiction",), ("jurisdiction_pdf", "a4"), ("jurisdiction_sites_csv",),
        ("jurisdiction_systems_xlsx",),
    ):  # fmt: skip
        assert get(scene.owner, name, *named).status_code == 403, name


def test_the_tables_of_a_jurisdiction_count_alike(scene: Any, lean: Deficiency, get: Any) -> None:
    sites = get(scene.authority, "jurisdiction_sites_csv").content.decode("utf-8-sig").splitlines()
    assert len(sites) == 2
    head, row = sites[0].split(","), sites[1].split(",")
    assert row[head.index("Lean or rich")] == "1"
    assert row[head.index("Systems")] == "1"
    systems = get(scene.authority, "jurisdiction_systems_csv").content.decode("utf-8-sig")
    assert scene.proportioner.tag in systems
    assert "lean" in systems
    book = get(scene.authority, "jurisdiction_systems_xlsx")
    assert book.content[:2] == b"PK"
