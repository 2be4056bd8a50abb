"""Into an empty installation and out again: the same bytes, or nothing at all.

Checked against what stands outside the program: the bytes of the archive before, SHA-256 by the
standard library, and the seals, which the records carried before they left.
"""

import json
from datetime import date, timedelta

import pytest
from django.core.files.storage import default_storage
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from itm.accounts.actor import system
from itm.accounts.models import Membership, Organisation, User
from itm.accounts.services import add_person
from itm.archives import bringing
from itm.archives.columns import line
from itm.archives.models import BroughtIn
from itm.core import triggers
from itm.core.history import Change
from itm.findings.models import Deficiency
from itm.notices import gathering
from itm.notices.models import News
from itm.records import chain
from itm.records.models import LatestRecord, ProportioningTest, Reading, Seal
from itm.registry.models import Site, TankMovement
from itm.schedule import standing
from itm.schedule.models import Duty
from tests.archiving import (
    NOON,
    a_book_of_old,
    archived,
    brought,
    contents,
    emptied,
    forged,
    forgotten,
    rows,
    same_data,
    some_of,
    without,
)
from tests.deeds import tested
from tests.factories import TODAY, actor_of

pytestmark = pytest.mark.django_db


def out_again(tmp_path, name="again.zip"):
    site = Site.objects.get()
    owner = actor_of(site.owner)
    return archived(owner, site, tmp_path / name)


def moved(scene, tmp_path, *deeds):
    """The archive of a site at which that happened, brought in where nothing else is."""
    for deed in deeds:
        deed(scene)
    path = archived(scene.owner, scene.site, tmp_path / "site.zip")
    emptied()
    return path


def test_a_site_with_everything_comes_out_as_it_went_in(everything, tmp_path):
    came = brought(everything)
    told = json.loads(contents(everything)["manifest.json"])
    assert (came.rows, came.seals) == (sum(told["counts"].values()), Seal.objects.count())
    assert [found for found in chain.verify() if found.kind != "other_version"] == []
    assert same_data(contents(everything), contents(out_again(tmp_path))) == []


@pytest.mark.parametrize("seed", range(4))
def test_any_handful_of_what_happens_comes_out_as_it_went_in(scene, tmp_path, seed):
    path = moved(scene, tmp_path, *some_of(seed))
    brought(path)
    assert list(chain.verify()) == []
    assert same_data(contents(path), contents(out_again(tmp_path))) == []


def test_seals_verdicts_and_bytes_are_the_same(scene, tmp_path):
    for year in (2024, 2025):
        tested(scene, {"minimum": 2.4, "design": 3.3}, on=date(year, 6, 15))
    before = [(s.number, s.digest, bytes(s.document)) for s in Seal.objects.order_by("number")]
    verdicts = list(ProportioningTest.objects.order_by("pk").values_list("limits"))
    brought(moved(scene, tmp_path))
    seals = Seal.objects.order_by("number")
    assert [(s.number, s.digest, bytes(s.document)) for s in seals] == before
    tests = ProportioningTest.objects.order_by("pk")
    assert list(tests.values_list("limits")) == verdicts
    assert LatestRecord.objects.get().test == tests.last()


def test_numbers_of_rows_are_new_and_nothing_hangs_on_them(scene, path, tmp_path):
    """Rows that were there before and are gone leave their numbers used up."""
    tested(scene)
    was = Reading.objects.order_by("pk").last().pk
    emptied()
    brought(path)
    if connection.vendor == "postgresql":
        assert Reading.objects.order_by("pk").first().pk <= was
    assert same_data(contents(path), contents(out_again(tmp_path))) == []


def test_people_come_by_name_and_cannot_sign_in(path):
    came = brought(path)
    assert came.people == User.objects.count() == 1
    person = User.objects.get()
    assert (person.is_active, person.has_usable_password()) == (False, False)
    assert person.email.endswith("@archive.invalid")
    assert not Membership.objects.exists()
    assert b"@" not in b"".join(
        data for name, data in contents(path).items() if name.startswith("data/")
    )


def test_the_first_person_is_let_in_to_the_organisation_that_came(path):
    brought(path)
    owner = Organisation.objects.get(kind="owner")
    add_person(
        by=system(TODAY), email="new@example.org", name="New", organisation=owner.name,
        kind="owner", role="manager", password="a long word for tests",
    )  # fmt: skip
    assert Organisation.objects.filter(kind="owner").get() == owner
    assert Membership.objects.get().organisation == owner


def test_the_import_stands_in_the_history_and_not_among_the_lines_of_the_site(path):
    brought(path)
    row = BroughtIn.objects.get()
    [line] = Change.objects.filter(object_key=row.key)
    assert (line.verb, line.person) == ("brought in", "the system")
    assert row.archive_sha256 in line.note
    assert len(rows(path, "history")) == Change.objects.count() - 1
    with pytest.raises(DatabaseError), transaction.atomic():
        BroughtIn._base_manager.filter(pk=row.pk).update(rows=1)


def test_what_came_about_elsewhere_is_no_news(path):
    later = timezone.now() + timedelta(days=1)
    brought(path, later)
    gathering.gather(later)
    assert not News.objects.exclude(kind__in=["overdue", "outstanding"]).exists()


def test_guards_are_on_afterwards_and_were_on_meanwhile(path, monkeypatch):
    seen = []
    derive = bringing._derive

    def looked(*given):
        seen.append(triggers.missing(connection))
        derive(*given)

    monkeypatch.setattr(bringing, "_derive", looked)
    brought(path)
    assert seen == [[]]
    assert triggers.missing(connection) == []
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Reading._base_manager.update(value=1)


def test_a_tank_of_older_papers_keeps_what_they_had_too_much_of(scene, tmp_path):
    a_book_of_old(scene)
    held = list(TankMovement.objects.order_by("pk").values_list("held", "left", "excess"))
    assert any(excess is not None for _, _, excess in held)
    brought(moved(scene, tmp_path))
    assert list(TankMovement.objects.order_by("pk").values_list("held", "left", "excess")) == held
    assert triggers.missing(connection) == []


def test_duties_stand_by_the_day_of_this_installation(path):
    brought(path, NOON)
    assert Duty.objects.exists()
    assert list(standing.differing(Duty.objects.all(), system(TODAY, at=NOON))) == []


def test_files_lie_under_the_names_that_seals_hold(path):
    brought(path)
    files = contents(path)
    for row in rows(path, "attachments"):
        place, name = row["file"]["place"], row["file"]["stored_as"]
        if place is None:
            assert not default_storage.exists(name)
            continue
        with default_storage.open(name) as file:
            assert file.read() == files[place]


def test_the_installation_goes_on_from_there(path, tmp_path):
    """New rows get numbers of their own."""
    brought(path)
    site = Site.objects.get()
    owner = actor_of(site.owner)
    site.name = "Another name"
    site.save(by=owner)
    again = out_again(tmp_path)
    assert rows(again, "sites")[0]["name"] == "Another name"


def test_an_archive_of_an_older_release_comes_in_with_defaults(path, tmp_path):
    """Columns and tables that came later are not in it: nothing of what is in it is lost."""
    files = contents(path)
    lots = [json.loads(line) for line in files["data/lots.jsonl"].splitlines()]
    for row in lots:
        del row["ph"]
    older = forged(
        path, tmp_path / "older.zip",
        **{"data/lots.jsonl": b"".join(line(row) for row in lots)},
    )  # fmt: skip
    older = without(older, tmp_path / "oldest.zip", "data/effluent.jsonl")
    brought(older)
    again = contents(out_again(tmp_path))
    changed = {"data/lots.jsonl", "data/effluent.jsonl"}
    assert set(same_data(contents(older), again)) <= changed
    assert b'"ph":null' in again["data/lots.jsonl"]


def test_an_archive_from_before_there_were_deficiencies_has_them_opened(scene, tmp_path):
    tested(scene, {"minimum": 2.0, "design": 3.4})
    forgotten()
    old = archived(scene.owner, scene.site, tmp_path / "site.zip")
    emptied()
    for number, table in enumerate(("finding-steps", "deficiencies")):
        old = without(old, tmp_path / f"old-{number}.zip", f"data/{table}.jsonl")
    came = brought(old, at=NOON)
    row = Deficiency.objects.get()
    assert (came.opened, row.cause, row.spot) == (1, "lean", "minimum")
    assert (row.found_on, row.opened_at) == (date(2026, 6, 15), NOON)
    assert "Opened afterwards" in row.steps.last().words
    # What comes out from now on has it, and brought in elsewhere opens nothing.
    newer = out_again(tmp_path, "newer.zip")
    emptied()
    assert brought(newer).opened == 0
    assert Deficiency.objects.count() == 1
