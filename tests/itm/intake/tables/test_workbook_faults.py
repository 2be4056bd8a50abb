"""Cells that a reader of workbooks gives as empty although something was meant.

Types of cells and errors: ISO/IEC 29500-1, 18.18.11; the workbooks are written by another library
than the one that reads, or by hand.
"""

import pytest

from itm.intake.tables import workbook_faults
from itm.intake.tables.workbook import faults
from tests.itm.intake.tables.files import Looked, repacked, workbook

SHEET = "xl/worksheets/sheet1.xml"
HEAD = ["tag", "date", "percent"]
MAIN = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
PREFIXED = MAIN.replace(b"xmlns=", b"xmlns:x=")


def told(path, *, notes=()):
    found = Looked(path)
    columns = found.columns.values()
    return [(one.place, one.code) for one in found.source.faults(columns, found.head, notes)]


def test_errors_and_formulas_without_a_value_are_told_at_their_cells(tmp_path):
    rows = [HEAD, ["PR-1", "2012-05-14", "#REF!"], ["PR-2", "2012-05-14", "=1+2"],
            ["PR-3", "2012-05-14", 3.1]]  # fmt: skip
    assert told(workbook(tmp_path, rows)) == [("C2", "error_cell"), ("C3", "no_value")]


def test_what_stands_above_in_a_note_or_in_no_column_of_ours_is_left_alone(tmp_path):
    rows = [["#N/A", "=1"], [*HEAD, "sum"], ["PR-1", "2012-05-14", 3.1, "=1+2"],
            ["Mean", None, "=1+2"]]  # fmt: skip
    path = workbook(tmp_path, rows)
    assert told(path) == [("C4", "no_value")]
    assert told(path, notes={4}) == []


@pytest.mark.parametrize(
    ("sheet", "found"),
    [
        (b'<row><c t="e"><v>#N/A</v></c><c><f>A1</f></c></row><row><c/><c><f>1</f><v/></c></row>',
         [(1, 0, "#N/A"), (1, 1, ""), (2, 1, "")]),
        (b"<row r='3'><c r='B3' t = 'e'><v>#DIV/0!</v></c></row>", [(3, 1, "#DIV/0!")]),
        (b'<row r="2"><c r="AB2" s="1"/><c r="AC2"><f ca="1"/><v></v></c></row>', [(2, 28, "")]),
        (b'<row r="2"><c r="A2"><f>1</f><v>0</v></c><c r="B2" t="str"><f>2</f><v></v></c></row>',
         []),
        (b'<row r="2"><c r="A2" t="inlineStr"><is><t>"e"</t></is></c></row>', []),
    ],
)  # fmt: skip
def test_the_markup_is_read_as_writers_write_it(tmp_path, sheet, found):
    for head, tail in ((b"<worksheet %s><sheetData>" % MAIN, b"</sheetData></worksheet>"),):
        path = repacked(workbook(tmp_path, [HEAD]), {SHEET: head + sheet + tail})
        assert faults(path, "Results") == found


def test_markup_with_a_prefix_and_in_many_pieces_is_read_as_well(tmp_path, monkeypatch):
    monkeypatch.setattr(workbook_faults, "CHUNK", 50)
    cells = b'<x:row r="%d"><x:c r="C%d"><x:f>A1</x:f><x:v/></x:c></x:row>'
    sheet = b"".join(cells % (row, row) for row in range(1, 40))
    markup = b"<x:worksheet %s><x:sheetData>%s</x:sheetData></x:worksheet>" % (PREFIXED, sheet)
    path = repacked(workbook(tmp_path, [HEAD]), {SHEET: markup})
    assert workbook_faults.faults(path, "Results") == [(row, 2, "") for row in range(1, 40)]
