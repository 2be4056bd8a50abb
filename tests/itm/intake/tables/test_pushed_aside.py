"""Quotation marks and commas that shift a text file: what they swallow or push aside is told.

The rules of quotation are RFC 4180, 2.5 to 2.7.
"""

import pytest

from itm.core.errors import Refused
from itm.intake.tables.swallowed import Swallowed
from itm.intake.tables.text import csv_rows
from tests.itm.intake.tables.files import Looked, text_file, workbook

HEAD = "tag;date;percent;note\n"


def test_a_quotation_mark_that_is_never_closed_is_refused_with_its_row(tmp_path):
    rows = 'PR-1;2012-05-14;3.1;"see folder\nPR-1;2013-05-14;2.1;\nPR-1;2014-05-14;2.2;\n'
    with pytest.raises(Refused, match="row 2 is never closed") as refused:
        Looked(text_file(tmp_path, HEAD + rows))
    assert refused.value.code == "open_quote"


@pytest.mark.parametrize("end", ["", "\n", "\r\n", "\n\n"])
@pytest.mark.parametrize("last", ["ok", '"ok"', '"two\nlines"', '5" hose', '""', ""])
def test_a_file_that_ends_as_files_do_keeps_all_of_its_rows(tmp_path, end, last):
    path = text_file(tmp_path, f"{HEAD}PR-1;2012-05-14;3.1;{last}{end}")
    rows = [row for row in csv_rows(path, "utf-8", ";") if row]
    assert [len(row) for row in rows] == [4, 4]


def test_as_many_rows_as_may_be_are_no_row_too_many(tmp_path, monkeypatch):
    monkeypatch.setattr("itm.intake.tables.text.MOST_ROWS", 3)
    assert len(list(csv_rows(text_file(tmp_path, "a;b\n" * 3), "utf-8", ";"))) == 3
    with pytest.raises(Refused, match="more than"):
        list(csv_rows(text_file(tmp_path, "a;b\n" * 4), "utf-8", ";"))


def swallowed(found: Looked) -> Swallowed:
    watch = Swallowed(found.source.delimiter, found.head)
    assert list(watch.watched(found.source.blocks()))
    return watch


def test_a_quotation_that_is_closed_rows_later_is_asked_about(tmp_path):
    rows = 'PR-1;2012-05-14;3.1;"see\nPR-1;2013-05-14;2.1;see "folder"\nPR-1;2014-05-14;3;\n'
    watch = swallowed(Looked(text_file(tmp_path, HEAD + rows)))
    [question] = watch.asked({})
    assert (question.code, question.found) == ("swallowed:D2", "")
    assert "see ↵ PR-1;2013-05-14" in question.sentence
    assert watch.asked({"swallowed:D2": "one cell"})[0].found == "one cell"


def test_lines_or_signs_alone_in_a_quoted_cell_are_not_asked_about(tmp_path):
    rows = 'PR-1;2012-05-14;3.1;"two\nlines"\nPR-1;2013-05-14;3.1;"here; there"\n'
    assert swallowed(Looked(text_file(tmp_path, HEAD + rows))).asked({}) == []


def test_an_unquoted_decimal_comma_in_a_comma_file_is_told_at_its_row(tmp_path):
    text = "tag,date,percent,note\nPR-1,2012-05-14,3.2,ok\nPR-1,2013-05-14,3,1,ok\n"
    found = Looked(text_file(tmp_path, text))
    assert found.problems == [("E3", "beyond_head")]
    assert "decimal comma" in found.reader.told.problems[0].fix


def test_one_problem_for_each_row_that_is_pushed_aside(tmp_path):
    rows = "PR-1,2012-05-14,3,1,ok,so\n" * 3
    found = Looked(text_file(tmp_path, f"tag,date,percent,note\nPR-1,2012-05-14,3.1,ok\n{rows}"))
    assert [place for place, _ in found.problems] == ["E3", "E4", "E5"]


def test_empty_cells_beyond_the_heads_and_a_letterhead_above_push_nothing(tmp_path):
    text = "a,b,c,d,e,f\ntag,date,percent,,\nPR-1,2012-05-14,3.1,,,\nPR-2,2012-05-14,3.1\n"
    assert Looked(text_file(tmp_path, text)).problems == []


def test_in_a_workbook_a_remark_beside_the_table_pushes_nothing(tmp_path):
    rows = [["tag", "date", "percent"], ["PR-1", "2012-05-14", 3.1, "by hand"]]
    assert Looked(workbook(tmp_path, rows)).problems == []


def test_a_cell_in_another_unit_than_its_head_is_asked_about(tmp_path):
    text = "tag;date;percent;flow (L/min)\nPR-1;2012-05-14;3;850 US gpm\nPR-1;2013-05-14;3;850\n"
    asked = Looked(text_file(tmp_path, text))
    assert asked.questions["differing:flow"] == ""
    assert asked.problems == [("D2", "two_units")]
    for said, unit in (("cell", "US gpm"), ("head", "L/min")):
        found = Looked(text_file(tmp_path, text), **{"differing:flow": said})
        flows = [(one.number, one.unit) for one in found.column("flow")]
        assert flows == [(850, unit), (850, "L/min")]
