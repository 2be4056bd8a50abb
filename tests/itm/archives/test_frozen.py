"""Archives of older releases, kept as they were written, come into the program of today.

What has to come out again is known from outside the program: SHA-256 of the file and of the sealed
bytes by the standard library, and verdicts by how the invented readings were made (a mixture of
2.4 % where 3 % is asked for is lean). Written by `python -m tests.freeze_archive`.
"""

import hashlib
import json
from pathlib import Path

import pytest
from django.core.files.storage import default_storage

from calc.canonical import canonical_bytes
from itm.archives.models import BroughtIn
from itm.archives.writing import FORM
from itm.findings.models import Deficiency
from itm.records import chain
from itm.records.models import Evaluation, ProportioningTest, Seal
from itm.registry.models import Attachment, Site
from itm.retention.verifying import verify_files
from tests.archiving import archived, brought, contents, same_data
from tests.factories import actor_of

pytestmark = pytest.mark.django_db
FROZEN = Path(__file__).parents[3] / "fixtures" / "frozen" / "archives"
# By sha256sum, when it was written: by the release of 30 November 2026, before files could go.
DIGESTS = {"form_1.zip": "5b9d4eb149325842ada712c3ea48327c317a82d3be8515eacf26e784f6dfcd17"}
FORM_1 = FROZEN / "form_1.zip"


@pytest.fixture(autouse=True)
def _elsewhere(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "elsewhere"


def test_every_form_has_its_archive_and_none_was_written_again():
    found = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in FROZEN.glob("*.zip")
    }
    assert found == DIGESTS
    assert {f"form_{number}.zip" for number in range(1, FORM + 1)} <= found.keys()


def test_chains_are_the_same_byte_for_byte():
    files = contents(FORM_1)
    came = brought(FORM_1)
    assert came.seals == 6
    previous = ""
    for number, seal in enumerate(Seal.objects.order_by("number"), 1):
        data = files[f"sealed/seal-{number:05d}.json"]
        assert bytes(seal.document) == data
        assert seal.digest == hashlib.sha256(data).hexdigest()
        assert (seal.number, seal.previous) == (number, previous)
        previous = seal.digest
    assert previous == json.loads(files["manifest.json"])["newest_seal"]["digest"]
    assert [one for one in chain.verify() if one.kind != "other_version"] == []


def test_verdicts_are_the_same():
    files = contents(FORM_1)
    brought(FORM_1)
    found = {}
    for seal in Seal.objects.exclude(test=None).order_by("number"):
        stored = json.loads(files[f"sealed/seal-{seal.number:05d}.json"])["evaluation"]["result"]
        now = Evaluation.objects.filter(test=seal.test).latest("pk").result
        assert canonical_bytes(now) == canonical_bytes(stored)
        test = ProportioningTest.objects.get(pk=seal.test_id)
        found[str(test.tested_on)] = [point["limits"] for point in now["flow_points"]]
    fine = ["in band", "in band"]
    assert found == {
        "2017-06-15": fine, "2021-06-15": fine, "2024-06-15": ["lean", "in band"],
        "2025-06-15": ["lean", "in band"], "2026-06-15": fine,
    }  # fmt: skip


def test_files_are_those_that_were_noted_and_what_was_wrong_is_still_known():
    brought(FORM_1)
    assert list(verify_files()) == []
    for row in Attachment.objects.filter(withdrawn_at=None):
        with default_storage.open(row.file.name) as file:
            assert hashlib.sha256(file.read()).hexdigest() == row.sha256
    assert sorted(Deficiency.objects.values_list("cause", flat=True)) == [
        "by_hand", "lean", "lean",
    ]  # fmt: skip
    assert BroughtIn.objects.get().invented


def test_it_comes_out_again_with_all_that_it_had(tmp_path):
    """What came after it is added: a table that it lacked is empty, a column has its default."""
    brought(FORM_1)
    site = Site.objects.get()
    again = contents(archived(actor_of(site.owner), site, tmp_path / "again.zip"))
    before = contents(FORM_1)
    words = {"FORMAT.txt", "README.txt", "manifest.json"}
    for name in same_data(before, again):
        if name in words or name.startswith("tables/"):
            continue
        assert name in again, name
        if name not in before:
            assert again[name] == b"", name
            continue
        old, new = (
            [json.loads(line) for line in files[name].splitlines()] for files in (before, again)
        )
        assert len(old) == len(new), name
        for row, later in zip(old, new, strict=True):
            assert {column: later[column] for column in row} == row, name
