"""What no installation takes in: each with a sentence, and with nothing left behind."""

import io
import json
import zipfile

import pytest
from django.core.files.storage import default_storage
from django.db import connection

from itm.accounts.models import Organisation
from itm.core import triggers
from itm.core.errors import Refused
from itm.registry.models import Site
from tests.archiving import brought, contents, forged, repacked, rows
from tests.factories import OrganisationFactory

pytestmark = pytest.mark.django_db


def listed():
    return default_storage.listdir("attachments")[1]


def refusal(path):
    with pytest.raises(Refused) as caught:
        brought(path)
    assert not Site.objects.exists()
    assert not Organisation.objects.exists()
    assert not default_storage.exists("attachments") or listed() == []
    assert triggers.missing(connection) == []
    return caught.value


def test_an_installation_that_holds_anything_is_refused(path, tmp_path):
    OrganisationFactory()
    with pytest.raises(Refused, match="holds 1 organisations") as caught:
        brought(path)
    assert caught.value.code == "not_empty"


@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 0.99])
def test_a_truncated_archive_is_refused(path, tmp_path, share):
    whole = path.read_bytes()
    short = tmp_path / "short.zip"
    short.write_bytes(whole[: int(len(whole) * share)])
    assert refusal(short).code == "no_archive"


def test_a_byte_that_was_changed_anywhere_is_found(path, tmp_path):
    """In the packed bytes of a file, and in the name before them (APPNOTE 4.3.7)."""
    whole = path.read_bytes()
    with zipfile.ZipFile(path) as file:
        entries = file.infolist()
    for entry in entries[::6]:
        start = entry.header_offset
        name, extra = (int.from_bytes(whole[start + at : start + at + 2], "little")
                       for at in (26, 28))  # fmt: skip
        packed = start + 30 + name + extra
        middle = packed + entry.compress_size // 2
        # Nothing is read of what is packed of an empty file.
        for at in (start + 30, middle) if entry.file_size else (start + 30,):
            changed = bytearray(whole)
            changed[at] ^= 0x10
            other = tmp_path / "changed.zip"
            other.write_bytes(changed)
            assert refusal(other).code in {"damaged", "altered"}, entry.filename


@pytest.mark.parametrize("name", [
    "data/readings.jsonl", "sealed/seal-00001.json", "tables/readings.csv", "README.txt",
])  # fmt: skip
def test_a_file_that_was_altered_is_refused_by_name(path, tmp_path, name):
    data = contents(path)[name]
    same_length = data[:-2] + bytes([data[-2] ^ 1]) + data[-1:]
    for altered in (same_length, data + b" "):
        found = refusal(repacked(path, tmp_path / "b.zip", **{name: altered}))
        assert found.code == "altered"
        assert name in found.sentence


def test_a_file_that_is_gone_or_was_added_is_refused(path, tmp_path):
    gone = refusal(repacked(path, tmp_path / "b.zip", **{"sealed/seal-00001.json": None}))
    added = refusal(repacked(path, tmp_path / "c.zip", **{"sealed/more.json": b"{}"}))
    assert (gone.code, added.code) == ("lost_file", "added_file")


@pytest.mark.parametrize("name", [
    "../../etc/passwd", "/etc/passwd", "data\\x.jsonl", "C:/x.txt", "data//x", "data/./x",
    "data/..", "a/b/c.txt", "caf\u00e9.txt", "data/", ".hidden", "x" * 200,
])  # fmt: skip
def test_odd_paths_are_refused(path, tmp_path, name):
    assert refusal(repacked(path, tmp_path / "b.zip", **{name: b"x"})).code == "odd_path"


def test_a_zip_bomb_is_refused_before_it_is_unpacked(path, tmp_path):
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("manifest.json", b"{}")
        out.writestr("data/bomb.jsonl", b"0" * (80 << 20))
    found = refusal(bomb)
    assert found.code == "too_large"
    assert "nothing was unpacked" in found.sentence


def test_a_file_larger_than_it_says_is_not_read_to_its_end(path, tmp_path):
    """The stated size is in the central directory; the bytes behind it are more."""
    name = b"data/tanks.jsonl"
    held = contents(path)
    whole = bytearray(repacked(path, tmp_path / "b.zip",
                               **{"data/tanks.jsonl": b"0" * (1 << 20)}).read_bytes())  # fmt: skip
    at = whole.rfind(name) - 46  # the head of a central entry (APPNOTE 4.3.12)
    assert whole[at : at + 4] == b"PK\x01\x02"
    whole[at + 24 : at + 28] = len(held["data/tanks.jsonl"]).to_bytes(4, "little")
    lying = tmp_path / "lying.zip"
    lying.write_bytes(whole)
    assert refusal(lying).code in {"damaged", "altered"}


def test_another_form_and_another_kind_are_refused(path, tmp_path):
    manifest = json.loads(contents(path)["manifest.json"])
    for change, code in (
        ({"form": 2}, "other_form"), ({"kind": "backup"}, "other_kind"),
        ({"taken_at": "yesterday"}, "bad_manifest"), ({"files": 3}, "bad_manifest"),
    ):  # fmt: skip
        told = json.dumps({**manifest, **change}).encode()
        assert refusal(repacked(path, tmp_path / "b.zip", **{"manifest.json": told})).code == code
    broken = repacked(path, tmp_path / "c.zip", **{"manifest.json": b"[" * 100_000})
    assert refusal(broken).code == "bad_manifest"
    assert refusal(repacked(path, tmp_path / "d.zip", **{"manifest.json": None})).code == (
        "no_manifest"
    )


def changed_row(path, table, **values):
    lines = contents(path)[f"data/{table}.jsonl"].splitlines()
    row = {**json.loads(lines[0]), **values}
    lines[0] = json.dumps({k: v for k, v in row.items() if v is not ...}).encode()
    return {f"data/{table}.jsonl": b"\n".join(lines) + b"\n"}


@pytest.mark.parametrize(("table", "values", "code"), [
    ("readings", {"value": "1.4"}, "broken"),
    ("readings", {"value": "red"}, "bad_value"),
    ("readings", {"bottle": "0" * 32}, "dangling"),
    ("readings", {"colour": "red"}, "odd_column"),
    ("readings", {"value_typed": ...}, "lost_column"),
    ("tests", {"limits": "lean"}, "broken"),
    ("seals", {"number": 3}, "bad_row"),
    ("seals", {"document": "sealed/none.json"}, "lost_file"),
    ("tanks", {"capacity": -1}, "bad_row"),
    ("tank-book", {"left": 99.0}, "bad_row"),
    ("sites", {"time_zone": "Mars/Olympus"}, "bad_row"),
    ("attachments", {"file": {"stored_as": "../../x", "place": None}}, "odd_path"),
    ("attachments", {"file": {"stored_as": f"attachments/{'0' * 32}.png", "place": "README.txt"}},
     "lost_file"),
    ("requirements", {"interval": 99}, "other_rule"),
])  # fmt: skip
def test_rows_that_were_forged_with_their_manifest_are_refused(
    path, tmp_path, table, values, code
):  # fmt: skip
    made = forged(path, tmp_path / "b.zip", **changed_row(path, table, **values))
    assert refusal(made).code == code


def test_lines_that_are_no_rows_are_refused_by_their_number(path, tmp_path):
    for data in (b"{\n", b"3\n", b'{"key": NaN}\n', b"\xff\xfe\n"):
        found = refusal(forged(path, tmp_path / "b.zip", **{"data/readings.jsonl": data}))
        assert (found.code, "line 1" in found.sentence) == ("bad_row", True)


def test_a_store_that_holds_another_file_of_that_name_is_refused(path):
    name = rows(path, "attachments")[0]["file"]["stored_as"]
    default_storage.save(name, io.BytesIO(b"another"))
    with pytest.raises(Refused, match="another file"):
        brought(path)
    assert default_storage.exists(name)


def test_what_a_killed_run_left_in_the_store_does_not_hinder_the_next(path):
    held = rows(path, "attachments")[0]["file"]
    default_storage.save(held["stored_as"], io.BytesIO(contents(path)[held["place"]]))
    brought(path)
    assert Site.objects.count() == 1
