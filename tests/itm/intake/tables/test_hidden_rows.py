"""Rows that a workbook hides are found in its markup (ISO/IEC 29500-1, 18.3.1.73)."""

import openpyxl
import pytest

from itm.intake.tables import hidden_rows
from itm.intake.tables.hidden_rows import without
from itm.intake.tables.workbook import hidden
from tests.itm.intake.tables.files import Looked, repacked, workbook
from tests.itm.intake.tables.test_workbook_faults import HEAD, MAIN, PREFIXED, SHEET

ROWS = [HEAD, *([f"PR-{n}", f"2012-05-{n:02d}", 3.1] for n in range(1, 7))]


def filtered(folder, *rows):
    """By another library than the one that reads: rows hidden as a filter hides them."""
    path = workbook(folder, ROWS)
    book = openpyxl.load_workbook(path)
    for row in rows:
        book.active.row_dimensions[row].hidden = True
    book.save(path)
    return path


def test_rows_that_a_filter_hides_are_found(tmp_path):
    assert hidden(filtered(tmp_path, 3, 5, 90), "Results") == [3, 5]  # row 90 holds nothing
    assert Looked(filtered(tmp_path, 1, 4)).source.hidden() == [1, 4]
    assert hidden(workbook(tmp_path, ROWS), "Results") == []


@pytest.mark.parametrize(
    ("sheet", "found"),
    [
        (b'<row hidden="1"><c><v>1</v></c></row><row><c><v>2</v></c></row>', [1]),
        (b"<row r='2' hidden = 'true'><c><v>1</v></c></row>", [2]),
        (b'<row r="2" hidden="0"><c><v>1</v></c></row><row r="3" hidden="1"/>', []),
        (b'<row r="2" hidden="1"><c s="1"/></row><row r="3"><c><v>1</v></c></row>', []),
        (b'<row r="2" hidden="1"><c t="inlineStr"><is><t>a</t></is></c></row>', [2]),
        (b'<row><c t="inlineStr"><is><t>hidden="1"</t></is></c></row>', []),
    ],
)  # fmt: skip
def test_the_markup_is_read_as_writers_write_it(tmp_path, sheet, found):
    markup = b"<worksheet %s><sheetData>%s</sheetData></worksheet>" % (MAIN, sheet)
    assert hidden(repacked(workbook(tmp_path, [HEAD]), {SHEET: markup}), "Results") == found


@pytest.mark.parametrize("number", [b' r="%d"', b""])
def test_markup_with_a_prefix_and_in_many_pieces_is_read_as_well(tmp_path, monkeypatch, number):
    monkeypatch.setattr(hidden_rows, "CHUNK", 50)
    cells = b'<x:row%s hidden="%d"><x:c><x:v>1</x:v></x:c></x:row>'
    sheet = b"".join(
        cells % (number % row if number else b"", row % 3 == 0) for row in range(1, 40)
    )
    markup = b"<x:worksheet %s><x:sheetData>%s</x:sheetData></x:worksheet>" % (PREFIXED, sheet)
    path = repacked(workbook(tmp_path, [HEAD]), {SHEET: markup})
    assert hidden_rows.hidden_rows(path, "Results") == list(range(3, 40, 3))


def test_what_is_left_out_leaves_the_numbers_of_all_others(tmp_path):
    [block] = Looked(workbook(tmp_path, ROWS)).source.blocks()
    left = without(block, {3, 5, 5000})
    assert [row[0] for row in left.rows()] == ["tag", "PR-1", "", "PR-3", "", "PR-5", "PR-6"]
    assert [row[0] for row in block.rows()][2] == "PR-2"  # the block itself is as it was
    assert (left.first, left.count) == (block.first, block.count)
