"""Lists and single things: what they tell, in pages, narrowed, and only when it is new."""

import hashlib
import json
from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from itm.core.errors import NotFound
from itm.reports.services import render_report
from tests.deeds import inspection_of, prepared, tested
from tests.factories import (
    ConcentrateLotFactory,
    EquipmentFactory,
    FoamSystemFactory,
    InstrumentFactory,
    ProportionerFactory,
    SiteFactory,
    TankFactory,
    TankFillFactory,
)
from tests.itm.api.conftest import Program, refused
from tests.itm.reports.archival import read, text

pytestmark = pytest.mark.django_db
LISTS = (
    "sites", "systems", "proportioners", "equipment", "tanks", "lots", "duties", "inspections",
    "visits", "tests",
)  # fmt: skip


@pytest.fixture
def full(scene: Any) -> Any:
    """A sealed test, an inspection, and one of everything else."""
    sealed = tested(scene)
    inspection_of(scene)
    EquipmentFactory(site=scene.site, system=scene.system)
    return sealed


def keys(program: Program, path: str) -> list[str]:
    """Of all pages."""
    out = []
    while path:
        page = program.read(path)
        out += [row["key"] for row in page["results"]]
        following = urlsplit(page["next"] or "")
        path = f"{following.path.removeprefix('/api/v1')}?{following.query}" if page["next"] else ""
    return out


@pytest.mark.parametrize("name", LISTS)
def test_every_row_of_a_list_is_found_alone_with_the_same_words(
    scene: Any, full: Any, program: Any, name: str
) -> None:
    ours = program(scene.owner, "read")
    rows = ours.read(f"/{name}/")["results"]
    assert rows
    for row in rows:
        alone = ours.read(f"/{name}/{row['key']}/")
        assert {key: alone[key] for key in row} == row


def test_instrument_is_listed_to_its_organisation(scene: Any, program: Any) -> None:
    ours = program(scene.contractor, "read")
    [row] = ours.read("/instruments/")["results"]
    alone = ours.read(f"/instruments/{row['key']}/")
    assert [one["number"] for one in alone["certificates"]] == ["C-1"]
    assert alone["in_force"] == alone["certificates"][0]["key"]
    assert (row["resolution"], row["repeatability"]) == ("0.00001", None)


@pytest.mark.parametrize("limit", [1, 2, 3, 100])
def test_pages_hold_every_row_once(scene: Any, program: Any, limit: int) -> None:
    for number in range(4):
        ProportionerFactory(system=scene.system, tank=scene.tank, tag=f"P-{number}")
    found = keys(program(scene.owner), f"/proportioners/?limit={limit}")
    assert len(found) == len(set(found)) == 5


def test_row_that_comes_in_between_moves_no_page(scene: Any, program: Any) -> None:
    """Days are alike, so that the primary key has to break the tie."""
    ours = program(scene.contractor)
    visits = [str(prepared(scene).test.visit.key)]
    for _ in range(3):
        scene_of = ProportionerFactory(system=scene.system, tank=scene.tank)
        visits.append(str(prepared(_like(scene, scene_of)).test.visit.key))
    first = ours.read("/visits/?limit=2")
    prepared(_like(scene, ProportionerFactory(system=scene.system, tank=scene.tank)))
    query = urlsplit(first["next"]).query
    rest = [row["key"] for row in ours.read(f"/visits/?{query}")["results"]]
    assert [row["key"] for row in first["results"]] + rest == visits[::-1]


def _like(scene: Any, proportioner: Any) -> Any:
    return replace(scene, proportioner=proportioner)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("odd=1", "unknown_parameter"),
        ("limit=0", "min_value"),
        ("limit=101", "max_value"),
        ("limit=x", "invalid"),
        ("shown=some", "invalid_choice"),
        ("find=a&find=b", "repeated_parameter"),
        ("cursor=x", "bad_cursor"),
        ("kind=other", "unknown_parameter"),
    ],
)
def test_parameter_that_is_not_right_is_refused(
    scene: Any, program: Any, query: str, code: str
) -> None:
    [fault] = refused(program(scene.owner).ask("get", f"/sites/?{query}"), 400, "bad_query")
    assert fault["code"] == code


def test_unknown_parameter_is_told_the_known_ones(scene: Any, program: Any) -> None:
    [fault] = refused(program(scene.owner).ask("get", "/sites/?side=x"), 400, "bad_query")
    assert "those it knows are" in fault["detail"]
    assert "find" in fault["detail"]
    one = f"/sites/{scene.site.key}/?find=x"
    [fault] = refused(program(scene.owner).ask("get", one), 400, "bad_query")
    assert "it knows none" in fault["detail"]


def test_cursor_of_another_list_is_refused(scene: Any, program: Any) -> None:
    ours = program(scene.owner)
    SiteFactory(owner=scene.owner.organisation)
    cursor = urlsplit(ours.read("/sites/?limit=1")["next"]).query
    refused(ours.ask("get", f"/duties/?{cursor}"), 400, "bad_query")


@pytest.mark.parametrize(
    ("path", "count"),
    [
        ("/systems/?site={site}", 1), ("/systems/?kind=deluge", 1), ("/systems/?kind=deck", 0),
        ("/systems/?fuel=polar", 0), ("/proportioners/?site={site}", 1),
        ("/proportioners/?kind=premix", 0), ("/equipment/?site={site}&kind=valve", 1),
        ("/equipment/?kind=vent", 0), ("/tanks/?site={site}", 1), ("/tanks/?kind=atmospheric", 0),
        ("/lots/?pfas=free", 0), ("/sites/?shown=retired", 0), ("/sites/?find=nowhere", 0),
        ("/tests/?state=sealed", 1), ("/tests/?state=draft", 0), ("/tests/?site={site}", 1),
        ("/tests/?proportioner={proportioner}", 1), ("/tests/?proportioner={site}", 0),
        ("/tests/?since=2026-06-15&until=2026-06-15", 1), ("/tests/?since=2026-06-16", 0),
        ("/tests/?until=2026-06-14", 0), ("/tests/?limits=lean", 0), ("/tests/?limits=in+band", 1),
        ("/visits/?site={site}", 1), ("/visits/?since=2026-06-16", 0),
        ("/visits/?until=2026-06-15", 1), ("/inspections/?site={site}", 1),
        ("/inspections/?since=2026-06-16", 0), ("/inspections/?until=2026-06-15&find=Person", 1),
        ("/duties/?standing=done&site={site}&done_from=2026-06-15&done_until=2026-06-15", 2),
        ("/duties/?due_until=2000-01-01", 0), ("/duties/?due_from=2100-01-01", 0),
        ("/duties/?standing=ahead&site={proportioner}", 0),
    ],
)  # fmt: skip
def test_lists_are_narrowed(scene: Any, full: Any, program: Any, path: str, count: int) -> None:
    path = path.format(site=scene.site.key, proportioner=scene.proportioner.key)
    assert len(program(scene.owner).read(path)["results"]) == count, path


def test_figures_are_told_as_typed_beside_si(scene: Any, program: Any) -> None:
    ours = program(scene.owner)
    system = ours.read(f"/systems/{scene.system.key}/")
    assert system["design_flow"] == {
        "typed": "1900 L/min", "si": pytest.approx(1900 / 60_000),
    }  # fmt: skip
    device = ours.read(f"/proportioners/{scene.proportioner.key}/")
    assert device["nominal_percent"] == "3"
    assert {point["name"] for point in device["flow_points"]} == {"minimum", "design"}


def test_tank_is_told_with_what_it_held_on_a_day(scene: Any, program: Any) -> None:
    tank = TankFactory(site=scene.site)
    lot = ConcentrateLotFactory(owner=scene.owner.organisation)
    fill = TankFillFactory(tank=tank, lot=lot)
    ours = program(scene.owner)
    before = ours.read(f"/tanks/{tank.key}/?on=2000-01-01")["contents"]
    assert (before["on"], before["noted"], before["lots"]) == ("2000-01-01", False, [])
    now = ours.read(f"/tanks/{tank.key}/")["contents"]
    [part] = now["lots"]
    assert (part["lot"]["key"], part["share"]) == (str(lot.key), 1)
    assert part["volume"] == pytest.approx(fill.volume)
    listed = ours.read("/tanks/?on=2000-01-01")["results"]
    assert all(row["contents"]["on"] == "2000-01-01" for row in listed)


def test_test_is_told_in_its_canonical_form(scene: Any, full: Any, program: Any) -> None:
    ours = program(scene.authority)
    told = ours.read(f"/tests/{full.key}/")
    sealed = ours.ask("get", f"/tests/{full.key}/sealed/")
    assert hashlib.sha256(sealed.content).hexdigest() == told["seal"]["digest"]
    assert told["document"] == json.loads(sealed.content)
    points = told["document"]["evaluation"]["result"]["flow_points"]
    assert {point["name"] for point in points} == {"minimum", "design"}
    assert told["report_pdf"].endswith(f"/api/v1/tests/{full.key}/report/")


def test_draft_is_told_to_its_contractor_with_what_is_missing(scene: Any, program: Any) -> None:
    test = prepared(scene).test
    told = program(scene.contractor).read(f"/tests/{test.key}/")
    assert (told["state"], told["seal"], told["report_pdf"]) == ("draft", None, None)
    assert told["document"]["evaluation"] is None
    assert told["missing"]
    refused(program(scene.owner).ask("get", f"/tests/{test.key}/"), 404, "not_found")
    for what in ("sealed", "report"):
        got = program(scene.contractor).ask("get", f"/tests/{test.key}/{what}/")
        refused(got, 422, "not_sealed")


def test_report_is_promised_and_then_there(scene: Any, full: Any, program: Any) -> None:
    ours = program(scene.owner)
    got = ours.ask("get", f"/tests/{full.key}/report/")
    assert (got.status_code, got["Retry-After"]) == (202, "4")
    render_report(str(full.key))
    copy = ours.ask("get", f"/tests/{full.key}/report/?size=letter&units=us")
    assert copy["Content-Type"] == "application/pdf"
    assert tuple(read(copy.content).pages[0].mediabox)[2:] == (612, 792)
    assert "US gpm (typed" in text(copy.content)
    refused(ours.ask("get", f"/tests/{full.key}/report/?size=legal"), 400, "bad_query")
    got = ours.ask("get", f"/tests/{full.key}/report/", Accept="application/pdf")
    assert (got.status_code, got["Content-Type"]) == (200, "application/pdf")
    assert got.content.startswith(b"%PDF-")


def test_trend_tells_results_as_found(scene: Any, program: Any) -> None:
    for year in (2024, 2025):
        tested(scene, on=date(year, 6, 15))
    told = program(scene.authority).read(f"/proportioners/{scene.proportioner.key}/trend/")
    assert told["count"] == 2
    for series in told["flow_points"]:
        assert [one["tested_on"] for one in series["as_found"]] == ["2024-06-15", "2025-06-15"]
        assert series["sentences"]
        low, high = series["as_found"][0]["interval"]
        assert low < series["as_found"][0]["percent"] < high


def test_nothing_is_sent_again_to_who_has_it(scene: Any, program: Any) -> None:
    ours = program(scene.owner)
    path = f"/systems/{scene.system.key}/"
    tag = ours.ask("get", path)["ETag"]
    for have in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = ours.ask("get", path, If_None_Match=have)
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    scene.system.hazard = "a bund"
    scene.system.save(by=scene.owner)
    changed = ours.ask("get", path, If_None_Match=tag)
    assert (changed.status_code, changed["ETag"] != tag) == (200, True)


def test_answers_are_kept_by_nobody_else(scene: Any, program: Any) -> None:
    got = program(scene.owner).ask("get", "/sites/")
    assert got["Cache-Control"] == "private, no-cache"
    assert "Authorization" in got["Vary"]


def grow(scene: Any, count: int) -> None:
    for _ in range(count):
        site = SiteFactory(owner=scene.owner.organisation)
        system = FoamSystemFactory(site=site)
        tank = TankFactory(site=site)
        TankFillFactory(tank=tank, lot=ConcentrateLotFactory(owner=scene.owner.organisation))
        ProportionerFactory(system=system, tank=tank)
        EquipmentFactory(site=site, system=system)
        InstrumentFactory(organisation=scene.contractor.organisation)


@pytest.mark.parametrize("name", [*LISTS, "instruments"])
def test_list_takes_as_many_queries_for_many_rows_as_for_few(
    scene: Any, full: Any, program: Any, name: str
) -> None:
    ours = program(scene.contractor if name == "instruments" else scene.owner)
    ours.read(f"/{name}/")
    counts = []
    for _ in range(2):
        grow(scene, 3)
        with CaptureQueriesContext(connection) as asked:
            ours.read(f"/{name}/")
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 8


def test_foreign_thing_is_not_found_and_named_like_one_that_is_not_there(
    scene: Any, program: Any
) -> None:
    theirs = SiteFactory()
    ours = program(scene.owner)
    got = ours.ask("get", f"/sites/{theirs.key}/")
    refused(got, 404, NotFound.code)
    none = ours.ask("get", "/sites/00000000-0000-4000-8000-000000000000/")
    assert got.json() == none.json()
