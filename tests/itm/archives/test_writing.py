"""The archive itself: what anybody with standard tools can check of it."""

import csv
import hashlib
import io
import json
import shutil
import subprocess
import tracemalloc
import zipfile

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from itm.records.models import Move, Seal
from itm.registry.models import Attachment
from itm.reports.services import render_report
from tests.archiving import a_question, archived, contents, photos_and_papers, rows
from tests.deeds import tested
from tests.factories import AttachmentFactory, EquipmentFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def path(world):
    """Of a site at which some of everything happened."""
    return world[1]


@pytest.fixture(scope="module")
def there(world):
    return world[0]


def test_every_file_has_the_size_and_digest_of_the_manifest(path, tmp_path):
    """Source: SHA-256 of FIPS 180-4 by another program, sha256sum of GNU coreutils."""
    with zipfile.ZipFile(path) as file:
        assert file.testzip() is None
        file.extractall(tmp_path / "out")
    manifest = json.loads((tmp_path / "out/manifest.json").read_bytes())
    listed = {one["path"]: one for one in manifest["files"]}
    there = {
        str(one.relative_to(tmp_path / "out"))
        for one in (tmp_path / "out").rglob("*")
        if one.is_file()
    }
    assert there == listed.keys() | {"manifest.json"}
    for name, one in listed.items():
        assert (tmp_path / "out" / name).stat().st_size == one["size"]
    sums = "".join(f"{one['sha256']}  {name}\n" for name, one in listed.items())
    program = shutil.which("sha256sum")
    assert program is not None
    done = subprocess.run(
        [program, "--check", "--strict", "--quiet"], input=sums.encode(), cwd=tmp_path / "out",
        capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, b"")


def test_counts_are_those_of_the_lines(path):
    files = contents(path)
    counts = json.loads(files["manifest.json"])["counts"]
    for name, count in counts.items():
        assert len(files[f"data/{name}.jsonl"].splitlines()) == count, name
    empty = {name for name, count in counts.items() if not count}
    # What the deeds of the tests do not make.
    assert empty <= {
        "consents",
        "terms",
        "device-clocks",
        "photos",
        "reports",
        "past-withdrawals",
        "lot-ranges",
        "pfas-date-checks",
    }


def test_sealed_bytes_are_the_record_and_the_chain_is_whole(path, there):
    files, before = contents(path), ""
    seals = list(Seal.objects.filter(site=there.site).order_by("number"))
    assert len(seals) >= 5
    for seal in seals:
        data = files[f"sealed/seal-{seal.number:05d}.json"]
        assert data == bytes(seal.document)
        assert hashlib.sha256(data).hexdigest() == seal.digest
        told = json.loads(data)["seal"]
        assert (told["number"], told["previous"]) == (seal.number, before)
        before = seal.digest
    newest = json.loads(files["manifest.json"])["newest_seal"]
    assert newest == {"number": seals[-1].number, "digest": before}
    assert before in files["README.txt"].decode()


def test_what_was_handed_in_is_there_byte_for_byte(path, there):
    files = contents(path)
    moves = Move.objects.filter(test__site=there.site, test__state="sealed").exclude(document=None)
    assert moves
    for move in moves:
        data = files[f"handed-in/{move.key}.json"]
        assert (data, hashlib.sha256(data).hexdigest()) == (bytes(move.document), move.digest)


def test_the_same_site_gives_the_same_bytes(scene, tmp_path):
    """But for the moment, which the archive itself tells."""
    tested(scene)
    photos_and_papers(scene)
    one = archived(scene.owner, scene.site, tmp_path / "one.zip")
    again = archived(scene.owner, scene.site, tmp_path / "again.zip")
    assert again.read_bytes() == one.read_bytes()


def test_rows_name_each_other_by_key_and_never_by_number(path):
    keys = {row["key"] for name in ("tanks", "sites") for row in rows(path, name)}
    for row in rows(path, "tank-book"):
        assert row["tank"] in keys
        assert "id" not in row
    for line in rows(path, "history"):
        for side in ("before", "after"):
            for name, value in line[side].items():
                if name.endswith("_id"):
                    assert not isinstance(value, int), (line["of"], name)


def test_photos_and_papers_are_there_and_what_is_gone_is_only_named(path, there):
    files = contents(path)
    held = {row["key"]: row for row in rows(path, "attachments")}
    for row in Attachment.objects.filter(added_by=there.owner.person):
        place = held[str(row.key)]["file"]["place"]
        if row.let_go:
            assert place is None
        elif row.withdrawn_at:
            assert (place, held[str(row.key)]["preview"]["place"]) == (None, None)
        else:
            assert hashlib.sha256(files[place]).hexdigest() == row.sha256


def test_a_file_that_is_lost_or_another_is_named_and_the_rest_is_there(scene, tmp_path):
    photos_and_papers(scene)
    lost, other = Attachment.objects.filter(withdrawn_at=None)[:2]
    default_storage.delete(lost.file.name)
    default_storage.delete(other.file.name)
    default_storage.save(other.file.name, ContentFile(b"%PDF another"))
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    lacks = json.loads(contents(path)["manifest.json"])["lacks"]
    assert len(lacks) == 2
    assert any(str(lost.key) in one and "no longer in the store" in one for one in lacks)
    assert any(str(other.key) in one and "not the one that was noted" in one for one in lacks)
    assert all(one in contents(path)["README.txt"].decode() for one in lacks)


def test_reports_have_the_number_of_their_seal(scene, tmp_path):
    """Source of the head: ISO 32000-1, 7.5.2."""
    test = tested(scene)
    render_report(str(test.key))
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    report = contents(path)["reports/seal-00001.pdf"]
    assert report.startswith(b"%PDF-")
    assert hashlib.sha256(report).hexdigest() == test.report.sha256
    [line] = [one for one in table(path, "test-results") if one["Flow point"] == "design"]
    assert line["Report"] == "reports/seal-00001.pdf"


def table(path, name):
    text = contents(path)[f"tables/{name}.csv"].decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_tables_for_people_say_what_the_records_say(path, there):
    """Read by the reader of the standard library (RFC 4180)."""
    results = table(path, "test-results")
    seals = Seal.objects.filter(site=there.site).exclude(test=None)
    assert {int(one["Seal"]) for one in results} == {seal.number for seal in seals}
    for seal in seals:
        points = json.loads(bytes(seal.document))["evaluation"]["result"]["flow_points"]
        told = [one for one in results if int(one["Seal"]) == seal.number]
        assert [(one["Flow point"], float(one["Percent"]), one["Limits"]) for one in told] == [
            (point["name"], point["percent"], point["limits"]) for point in points
        ]
    readings = {(one["Bottle"], one["As typed"]) for one in table(path, "readings")}
    kept = rows(path, "readings")
    assert {typed for _, typed in readings} == {row["value_typed"] for row in kept}
    for name in ("systems", "duties", "deficiencies", "orders", "impairments", "files"):
        assert table(path, name), name


def test_a_name_that_a_spreadsheet_would_run_is_text(scene, tmp_path):
    EquipmentFactory(site=scene.site, system=scene.system, name='=HYPERLINK("http://example.org")')
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    assert next(one["Name"] for one in table(path, "equipment")).startswith("'=HYPERLINK")
    # The data keep what was typed.
    assert rows(path, "equipment")[0]["name"].startswith("=HYPERLINK")


def test_the_demo_says_that_it_is_invented(scene, tmp_path):
    from itm.core.models import Installation

    plain = contents(archived(scene.owner, scene.site, tmp_path / "a.zip"))
    assert b"INVENTED" not in plain["README.txt"]
    Installation.objects.create(kind=Installation.Kind.DEMO)
    told = contents(archived(scene.owner, scene.site, tmp_path / "b.zip"))
    assert b"EVERYTHING IN IT IS INVENTED" in told["README.txt"]
    assert json.loads(told["manifest.json"])["invented"] is True


def test_a_site_without_anything_has_an_archive_too(scene, tmp_path):
    from tests.factories import SiteFactory

    site = SiteFactory(owner=scene.owner.organisation)
    files = contents(archived(scene.owner, site, tmp_path / "a.zip"))
    assert b"No record of the site is sealed yet." in files["README.txt"]
    assert json.loads(files["manifest.json"])["newest_seal"] is None


def test_memory_does_not_grow_with_the_photos(scene, tmp_path):
    """Forty times as many bytes take no more of it than a few chunks."""

    def peak(megabytes: int) -> int:
        AttachmentFactory(site=scene.site, file__data=b"\xff" * (megabytes << 20))
        tracemalloc.start()
        archived(scene.owner, scene.site, tmp_path / "a.zip")
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    little = peak(1)
    assert peak(40) < little + (2 << 20)


def test_a_question_and_its_answer_are_there(scene, tmp_path):
    a_question(scene)
    path = archived(scene.owner, scene.site, tmp_path / "a.zip")
    [question], [answer] = rows(path, "questions"), rows(path, "answers")
    assert answer["question"] == question["key"]
