"""How figures go wrong between paper and record: signs, days, names and empty cells.

Lists of what spreadsheets do to names are common knowledge of their makers' help pages, recalled
from memory; day counts are ISO/IEC 29500-1, 18.17.4.1.
"""

from datetime import date
from decimal import Decimal

from itm.intake.tables.known import Known
from tests.itm.intake.tables.files import Looked, text_file, workbook


def test_decimal_comma_is_found_and_shown(tmp_path):
    path = text_file(tmp_path, "tag;date;percent;index\nPR-1;2012-05-14;3,12;1,3342\n")
    found = Looked(path)
    assert found.column("percent") == [Decimal("3.12")]
    assert found.column("index") == [Decimal("1.3342")]
    assert found.questions["decimal"] == ","


def test_a_comma_that_could_part_thousands_is_asked(tmp_path):
    text = 'tag,date,percent,flow\nPR-1,2012-05-14,3,"1,900 L/min"\n'
    asked = Looked(text_file(tmp_path, text))
    assert asked.questions["decimal"] == ""
    choices = dict(asked.question("decimal").choices)
    assert "1900" in choices["."]
    assert "is 1.9" in choices[","]
    assert asked.problems == [("D2", "other_decimal")]
    answered = Looked(text_file(tmp_path, text), decimal=".")
    assert answered.column("flow")[0].number == 1900


def test_both_signs_in_one_file_are_refused_with_the_cells_named(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;3,1\nPR-1;2013-05-14;3.25\nPR-1;2014-05-14;3,4\n"
    [problem] = Looked(text_file(tmp_path, text)).settled.problems
    assert (problem.code, problem.place) == ("mixed_decimal", "C3")
    assert "“3,1” in C2" in problem.sentence
    assert "“3.25” in C3" in problem.sentence


def test_range_settles_what_the_digits_leave_open(tmp_path):
    """1,334 is no index of 1334."""
    text = "tag;date;percent;index\nPR-1;2012-05-14;3;1,334\n"
    assert Looked(text_file(tmp_path, text)).column("index") == [Decimal("1.334")]


def test_day_or_month_first_is_asked_and_shown_in_words(tmp_path):
    text = "tag,date,percent\nPR-1,03/04/2026,3.1\n"
    asked = Looked(text_file(tmp_path, text))
    choices = dict(asked.question("order").choices)
    assert "3 Apr 2026" in choices["dmy"]
    assert "4 Mar 2026" in choices["mdy"]
    assert asked.problems == [("B2", "order_open")]
    for order, day in (("dmy", date(2026, 4, 3)), ("mdy", date(2026, 3, 4))):
        assert Looked(text_file(tmp_path, text), order=order).column("tested_on") == [day]


def test_another_day_of_the_file_settles_the_order(tmp_path):
    text = "tag,date,percent\nPR-1,03/04/2026,3.1\nPR-1,25/04/2026,3.1\n"
    found = Looked(text_file(tmp_path, text))
    assert found.questions["order"] == "dmy"
    assert found.column("tested_on")[0] == date(2026, 4, 3)


def test_both_orders_in_one_file_are_refused(tmp_path):
    text = "tag,date,percent\nPR-1,04/25/2026,3.1\nPR-1,25/04/2026,3.1\n"
    [problem] = Looked(text_file(tmp_path, text)).settled.problems
    assert problem.code == "mixed_order"
    assert "“04/25/2026” in B2" in problem.sentence
    assert "“25/04/2026” in B3" in problem.sentence


def test_lost_zeros_are_asked_about_and_the_known_lot_is_offered(tmp_path):
    path = workbook(tmp_path, [["tag", "date", "percent"], [712, date(2012, 5, 14), 3.1]])
    lots = Known("lot", ["00712", "B0001"])
    found = Looked(path, known={"tag": lots})
    [problem] = found.reader.told.problems
    assert problem.code == "unknown_name"
    assert "Did you mean 00712?" in problem.fix
    meant = Known("lot", ["00712", "B0001"], means={"712": "00712"})
    assert Looked(path, known={"tag": meant}).column("tag") == ["00712"]


def test_a_name_that_became_a_power_of_ten_is_offered_back(tmp_path):
    rows = [["tag", "date", "percent"], [200000, date(2012, 5, 14), 3.1]]
    found = Looked(workbook(tmp_path, rows), known={"tag": Known("lot", ["2E05"])})
    assert "2E05" in found.reader.told.problems[0].fix


def test_a_name_that_became_a_day_is_offered_back(tmp_path):
    rows = [["tag", "date", "percent"], [date(2026, 4, 3), date(2012, 5, 14), 3.1]]
    found = Looked(workbook(tmp_path, rows), known={"tag": Known("lot", ["3-4", "7-9"])})
    [problem] = found.reader.told.problems
    assert problem.code == "day_for_name"
    assert problem.fix == "Did you mean 3-4?"


def test_names_keep_their_zeros_in_text(tmp_path):
    text = "tag,date,percent\n00712,2012-05-14,3.1\n2E05,2012-05-14,3.1\n3-4,2012-05-14,3.1\n"
    assert Looked(text_file(tmp_path, text)).column("tag") == ["00712", "2E05", "3-4"]


def test_a_damaged_name_is_told_where_no_name_is_known_yet(tmp_path):
    text = "tag,date,percent\n2.00E+05,2012-05-14,3.1\n"
    assert Looked(text_file(tmp_path, text)).problems == [("A2", "damaged_name")]


def test_empty_is_missing_and_zero_is_a_number(tmp_path):
    text = "tag,date,percent,index\nPR-1,2012-05-14,0,\nPR-1,2013-05-14,,1.3\n"
    found = Looked(text_file(tmp_path, text))
    assert found.column("percent") == [Decimal(0), None]
    assert found.column("index")[0] is None
    assert found.problems == [("C3", "missing")]


def test_not_available_is_asked_about(tmp_path):
    text = "tag,date,percent,index\nPR-1,2012-05-14,3.1,n/a\n"
    asked = Looked(text_file(tmp_path, text))
    assert asked.questions["nothing"] == ""
    assert asked.problems == [("D2", "nothing")]
    answered = Looked(text_file(tmp_path, text), nothing="empty")
    assert answered.column("index") == [None]
    assert not answered.problems
