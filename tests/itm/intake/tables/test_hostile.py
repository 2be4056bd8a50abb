"""Files that want to harm: none gets further than it may."""

import io
import resource
import zipfile

import pytest

from itm.core.errors import Refused
from itm.intake.tables import limits, text, workbook
from itm.intake.tables.file_kind import kind_of
from itm.intake.tables.source import Source
from tests.itm.intake.tables.files import repacked, text_file
from tests.itm.intake.tables.files import workbook as made

SHEET = "xl/worksheets/sheet1.xml"
ROWS = [["tag", "date", "percent"], ["PR-1", "2012-05-14", 3.1]]
MAIN = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def code_of(call, *args) -> str:
    with pytest.raises(Refused) as refused:
        list(call(*args) or ())
    return refused.value.code


def test_a_workbook_that_unpacks_too_large_is_refused(tmp_path, monkeypatch):
    path = repacked(made(tmp_path, ROWS), {"xl/media/zeros.bin": bytes(5_000_000)})
    workbook.require_harmless(path)
    monkeypatch.setattr(workbook, "MOST_UNPACKED", 4_000_000)
    assert code_of(workbook.require_harmless, path) == "unpacks_too_large"


def test_a_declared_size_that_lies_does_not_help(tmp_path, monkeypatch):
    path = repacked(made(tmp_path, ROWS), {"xl/media/zeros.bin": bytes(5_000_000)})
    data = bytearray(path.read_bytes())
    wrong, right = (100).to_bytes(4, "little"), (5_000_000).to_bytes(4, "little")
    assert data.count(right) == 2  # in the local and in the central head of the part
    path.write_bytes(data.replace(right, wrong))
    monkeypatch.setattr(workbook, "MOST_UNPACKED", 4_000_000)
    assert code_of(workbook.require_harmless, path) in ("unpacks_too_large", "broken_workbook")


def test_too_many_parts_are_refused(tmp_path, monkeypatch):
    path = made(tmp_path, ROWS)
    monkeypatch.setattr(workbook, "MOST_PARTS", 3)
    assert code_of(workbook.require_harmless, path) == "too_many_parts"


@pytest.mark.parametrize(
    "cell",
    [b'<c r="AAA200000"><v>1</v></c>', b'<c r="A200001"><v>1</v></c>', b'<c r="GS1"><v>1</v></c>',
     b"<c r='ZZ1'><v>1</v></c>", b'<c r = "XFD1048576"><v>1</v></c>'],
)  # fmt: skip
def test_a_far_cell_is_refused_before_the_reader_lays_it_out(tmp_path, cell):
    sheet = b"<worksheet %s><sheetData><row>%s</row></sheetData></worksheet>" % (MAIN, cell)
    path = repacked(made(tmp_path, ROWS), {SHEET: sheet})
    assert path.stat().st_size < 8_000
    assert code_of(workbook.require_harmless, path) == "far_cell"


def test_the_last_row_and_column_that_may_be_are_not_far(tmp_path):
    cells = b'<c r="A199999"><v>1</v></c><c r="GR1"><v>1</v></c>'
    sheet = b"<worksheet %s><sheetData><row>%s</row></sheetData></worksheet>" % (MAIN, cells)
    path = repacked(made(tmp_path, ROWS), {SHEET: sheet})
    workbook.require_harmless(path)


def test_a_cell_that_got_past_the_guard_ends_the_reader_and_not_the_server(tmp_path):
    """A cell at A1 and one at AAA200000 make the library lay out 140 million cells, 4 GB."""
    cell = b'<c r="A1"><v>1</v></c></row><row><c r="AAA200000"><v>1</v></c>'
    sheet = b"<worksheet %s><sheetData><row>%s</row></sheetData></worksheet>" % (MAIN, cell)
    path = repacked(made(tmp_path, ROWS), {SHEET: sheet})
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    source = Source(path, "xlsx", sheet="Results")
    assert code_of(source.blocks) == "too_much_memory"
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000  # kB


@pytest.mark.parametrize(
    "part", [SHEET, "xl/workbook.xml", "xl/sharedStrings.xml", "[Content_Types].xml"]
)
def test_entities_are_refused_in_every_part(tmp_path, part):
    evil = (
        b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
        b"<worksheet>&a;</worksheet>"
    )
    path = repacked(made(tmp_path, ROWS), {part: evil})
    assert code_of(workbook.require_harmless, path) == "declares_entities"


def test_a_workbook_that_is_cut_off_is_refused(tmp_path):
    path = made(tmp_path, ROWS)
    path.write_bytes(path.read_bytes()[:3000])
    assert code_of(kind_of, path, "x.xlsx") == "broken_workbook"


def test_a_workbook_whose_sheet_is_damaged_is_refused(tmp_path):
    path = repacked(made(tmp_path, ROWS), {SHEET: b"<worksheet><sheetData><row"})
    workbook.require_harmless(path)
    code = code_of(Source(path, "xlsx", sheet="Results").blocks)
    assert code in ("too_much_memory", "broken_workbook")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty_file"),
        (b"%PDF-1.7\n", "unknown_type"),
        (b"\x89PNG\r\n\x1a\n", "unknown_type"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "old_workbook"),
    ],
)
def test_what_is_no_table_is_told_by_its_bytes(tmp_path, data, code):
    assert code_of(kind_of, text_file(tmp_path, data), "named.xlsx") == code


def test_a_packed_folder_that_is_no_workbook_is_refused(tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("readme.txt", "no workbook")
    assert code_of(kind_of, text_file(tmp_path, out.getvalue()), "a.xlsx") == "unknown_type"


def test_rows_columns_cells_and_letters_are_counted_while_they_come(tmp_path, monkeypatch):
    path = text_file(tmp_path, "a;b\n" * 50)
    monkeypatch.setattr(text, "MOST_ROWS", 40)
    assert code_of(text.csv_rows, path, "utf-8", ";") == "too_many_rows"
    monkeypatch.setattr(text, "MOST_ROWS", 100)
    monkeypatch.setattr(text, "MOST_CELLS", 60)
    assert code_of(text.csv_rows, path, "utf-8", ";") == "too_many_cells"
    wide = text_file(tmp_path, ";".join("x" * (limits.MOST_COLUMNS + 1)))
    assert code_of(text.csv_rows, wide, "utf-8", ";") == "too_wide"
    swallowed = text_file(tmp_path, 'a;"b\n' + "c;d\n" * 1000)
    assert code_of(Source(swallowed, "csv", "utf-8", ";").blocks) == "open_quote"
    closed = text_file(tmp_path, 'a;"b\n' + "c;d\n" * 1000 + '"\n')
    assert code_of(Source(closed, "csv", "utf-8", ";").blocks) == "long_cell"


def test_a_wide_sheet_is_refused_by_its_layout(tmp_path, monkeypatch):
    path = made(tmp_path, [["x"] * 60 for _ in range(60)])
    monkeypatch.setattr(workbook, "MOST_CELLS", 3_000)
    assert code_of(Source(path, "xlsx", sheet="Results").blocks) == "too_many_cells"
