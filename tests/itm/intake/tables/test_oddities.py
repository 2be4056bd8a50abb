"""Every oddity of a file with the value that is right; the files are made here, by hand or by
another library than the one that reads."""

import datetime as dt
from datetime import date
from decimal import Decimal

import pytest

from itm.core.errors import Refused
from itm.intake.tables.source import find_source
from itm.intake.tables.text import delimiter_of, letters_of
from tests.itm.intake.tables.files import Looked, text_file, workbook

PLAIN = "tag{0}date{0}percent\nPR-1{0}2012-05-14{0}3.12\n"


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_the_sign_between_columns_is_found(tmp_path, sign):
    assert Looked(text_file(tmp_path, PLAIN.format(sign))).column("percent") == [Decimal("3.12")]


def test_a_first_line_for_the_spreadsheet_alone_is_obeyed(tmp_path):
    found = Looked(text_file(tmp_path, "sep=;\n" + PLAIN.format(";")))
    assert found.column("tag") == ["PR-1"]


def test_a_sign_that_cannot_be_told_is_asked(tmp_path):
    path = text_file(tmp_path, "a;b,c\n1;2,3\n")
    source, [question] = find_source(path, "csv", {})
    assert source is None
    assert question.code == "delimiter"
    assert not question.found
    source, _ = find_source(path, "csv", {"delimiter": ";"})
    assert source is not None
    assert source.first_rows()[1] == ("1", "2,3")


@pytest.mark.parametrize(
    ("encoding", "bom", "name"),
    [
        ("utf-8", b"", "utf-8"),
        ("utf-8", b"\xef\xbb\xbf", "utf-8"),
        ("utf-16-le", b"\xff\xfe", "utf-16"),
        ("utf-16-be", b"\xfe\xff", "utf-16"),
        ("utf-16-le", b"", "utf-16-le"),
    ],
)
def test_letters_that_the_bytes_settle(tmp_path, encoding, bom, name):
    text = "tag,date,percent,note\nPR-1,2012-05-14,3.12,Prüfung im März\n"
    path = text_file(tmp_path, bom + text.encode(encoding))
    found = letters_of(path)
    assert (found.encoding, found.sure) == (name, True)
    looked = Looked(path)
    assert looked.column("note") == ["Prüfung im März"]
    assert looked.column("tag") == ["PR-1"]


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize(
    "note", ["Проверка весной, показания чистые", "Ψυχρό νερό, καθαρό πρίσμα", "泡沫液检查合格"]
)
def test_letters_without_a_mark_may_be_of_any_alphabet(tmp_path, note, encoding):
    rows = "".join(f"PR-{n};2012-05-14;3,12;{note}\n" for n in range(9))
    path = text_file(tmp_path, f"tag;date;percent;note\n{rows}", encoding)
    assert (letters_of(path).encoding, letters_of(path).sure) == (encoding, True)
    assert Looked(path).column("note")[0] == note


@pytest.mark.parametrize(
    "data",
    [b"tag;date;percent\nPR-1;2012\0-05-14;3\n" * 20, b"\x01\0\x02\0\x03\0" * 50,
     b"\0\xe0\n\0" * 30],
)  # fmt: skip
def test_nothings_among_bytes_make_no_text(tmp_path, data):
    with pytest.raises(Refused, match="neither a text"):
        letters_of(text_file(tmp_path, data))


def test_letters_of_windows_are_taken_and_shown_for_a_look(tmp_path):
    text = "tag,date,percent,note\nPR-1,2012-05-14,3.12,Prüfung – März\n"
    path = text_file(tmp_path, text, "cp1252")
    _, [question] = find_source(path, "csv", {})
    assert question.code == "encoding"
    assert question.found == "cp1252"
    assert "“Prüfung”" in question.sentence
    assert Looked(path).column("note") == ["Prüfung – März"]
    assert Looked(path, encoding="mac-roman").column("note") != ["Prüfung – März"]


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = text_file(tmp_path, bytes(range(256)) * 20)
    with pytest.raises(Refused) as refused:
        letters_of(path)
    assert refused.value.code == "not_text"


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("3", "3"), ("3 %", "3"), ("3.1%", "3.1"), ("\u00a03.1\u00a0%", "3.1"), ("+3.1", "3.1"),
        ("3.10", "3.1"), ("0", "0"), ("'3.1", "3.1"),
    ],
)  # fmt: skip
def test_percents_as_people_write_them(tmp_path, typed, value):
    text = f"tag;date;percent\nPR-1;2012-05-14;{typed}\n"
    assert Looked(text_file(tmp_path, text)).column("percent") == [Decimal(value)]


def test_shares_of_one_are_asked_and_then_read_as_percents(tmp_path):
    rows = [["tag", "date", "percent"], ["PR-1", date(2012, 5, 14), 0.0312]]
    path = workbook(tmp_path, rows)
    asked = Looked(path)
    assert "0.0312 is 3.12 %" in dict(asked.question("percent").choices)["fraction"]
    assert Looked(path, percent="fraction").column("percent") == [Decimal("3.12")]
    assert Looked(path, percent="percent").column("percent") == [Decimal("0.0312")]


def test_shares_and_percents_in_one_file_are_refused_with_the_cells_named(tmp_path):
    text = "tag,date,percent\nPR-1,2012-05-14,0.031\nPR-1,2013-05-14,3.1\n"
    [problem] = Looked(text_file(tmp_path, text)).settled.problems
    assert problem.code == "mixed_percent"
    assert "“0.031” in C2" in problem.sentence
    assert "“3.1” in C3" in problem.sentence


@pytest.mark.parametrize(
    ("head", "cell", "value"),
    [
        ("flow (L/min)", "850", "850"),
        ("Flow [l/min]", "850", "850"),
        ("flow in L/min", "850", "850"),
        ("flow", "850 L/min", "850"),
        ("flow", "850 lpm", "850"),
        ("flow", "1 900 L/min", "1900"),
        ("flow", "1\u202f900,5 L/min", "1900.5"),
        ("flow", "1'900.5 L/min", "1900.5"),
        ("flow", "1.900,5 L/min", "1900.5"),
        ("flow", "1,900.5 L/min", "1900.5"),
        ("flow", "1,234,567 L/min", "1234567"),
    ],
)
def test_flows_with_their_units_and_thousands(tmp_path, head, cell, value):
    text = f"tag;date;percent;{head}\nPR-1;2012-05-14;3;{cell}\n"
    [flow] = Looked(text_file(tmp_path, text)).column("flow")
    assert (flow.number, flow.unit) == (Decimal(value), "L/min")


@pytest.mark.parametrize("units", [";;%;L/min", "-;-;(%);[l/min]", ";;;lpm"])
def test_a_row_of_units_below_the_heads_belongs_to_them(tmp_path, units):
    text = f"tag;date;percent;flow\n{units}\nPR-1;2012-05-14;3;850\n"
    found = Looked(text_file(tmp_path, text))
    assert (found.problems, found.survey.rows) == ([], 1)
    assert [(one.number, one.unit) for one in found.column("flow")] == [(850, "L/min")]


def test_a_row_with_anything_beside_units_is_no_row_of_units(tmp_path):
    found = Looked(text_file(tmp_path, "tag;date;percent;note\n;;%;checked\nPR-1;2012-05-14;3;\n"))
    assert found.survey.rows == 2


def test_the_temperature_of_a_head_is_not_its_unit(tmp_path):
    text = "tag;date;percent;index at 20 °C\nPR-1;2012-05-14;3;1.3340\n"
    found = Looked(text_file(tmp_path, text))
    assert (found.problems, found.column("index")) == ([], [Decimal("1.3340")])


def test_a_unit_that_nobody_says_is_asked(tmp_path):
    text = "tag;date;percent;flow\nPR-1;2012-05-14;3;850\n"
    asked = Looked(text_file(tmp_path, text))
    assert asked.questions["unit:flow"] == ""
    assert asked.problems == [("D2", "no_unit")]
    [flow] = Looked(text_file(tmp_path, text), **{"unit:flow": "US gpm"}).column("flow")
    assert flow.unit == "US gpm"


def test_another_unit_than_the_column_knows_is_told(tmp_path):
    text = "tag;date;percent;flow\nPR-1;2012-05-14;3;850 m³\nPR-1;2012-05-15;3;850 gpm\n"
    found = Looked(text_file(tmp_path, text))
    assert found.problems == [("D2", "other_unit"), ("D3", "not_a_number")]


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2026-04-03", date(2026, 4, 3)),
        ("2026/04/03", date(2026, 4, 3)),
        ("3 April 2026", date(2026, 4, 3)),
        ("3-Apr-2026", date(2026, 4, 3)),
        ("April 3, 2026", date(2026, 4, 3)),
        ("3. Apr 2026", date(2026, 4, 3)),
        ("25.04.2026", date(2026, 4, 25)),
        ("04/04/2026", date(2026, 4, 4)),
        ("2026-04-03T14:30:00", date(2026, 4, 3)),
    ],
)
def test_days_that_are_read_in_one_way(tmp_path, typed, day):
    text = f'tag;date;percent\nPR-1;"{typed}";3\n'
    assert Looked(text_file(tmp_path, text)).column("tested_on") == [day]


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("03/04/26", "short_year"),
        ("03/04/2", "short_year"),
        ("31/02/2026", "not_a_day"),
        ("spring 2026", "not_a_day"),
        ("32-May-13", "not_a_day"),
    ],
)
def test_days_that_are_none(tmp_path, typed, code):
    text = f"tag;date;percent\nPR-1;{typed};3\n"
    assert Looked(text_file(tmp_path, text)).problems == [("B2", code)]


@pytest.mark.parametrize(
    ("typed", "order", "year"),
    [("14/05/12", "dmy", 12), ("5.14.98", "", 98), ("14-May-13", "", 13), ("May 14, 13", "", 13)],
)
def test_the_century_of_two_figures_is_asked_with_the_day_that_comes_of_it(
    tmp_path, typed, order, year
):
    """The third way is that of POSIX, strptime, %y."""
    text = f'tag;date;percent\nPR-1;"{typed}";3\n'
    asked = Looked(text_file(tmp_path, text))
    assert asked.problems == [("B2", "short_year")]
    answer = {"order": order} if order else {}
    asked = Looked(text_file(tmp_path, text), **answer)
    choices = dict(asked.question("century").choices)
    assert f"{typed} is 14 May 19{year}" in choices["1900"]
    for century, whole in (
        ("1900", 1900 + year), ("2000", 2000 + year), ("1969", year + (1900 if year > 68 else 2000))
    ):  # fmt: skip
        found = Looked(text_file(tmp_path, text), century=century, **answer)
        assert found.column("tested_on") == [date(whole, 5, 14)]


def test_the_first_and_the_last_year_of_two_figures_are_shown(tmp_path):
    text = "tag;date;percent\nPR-1;14-May-12;3\nPR-1;14-May-98;3\nPR-1;14-May-05;3\n"
    question = Looked(text_file(tmp_path, text)).question("century")
    assert "14-May-05 is 14 May 2005, 14-May-98 is 14 May 1998" in dict(question.choices)["1969"]


def test_a_year_of_two_figures_may_stand_first(tmp_path):
    text = "tag;date;percent\nPR-1;14/05/12;3\n"
    asked = Looked(text_file(tmp_path, text)).question("order")
    assert dict(asked.choices) == {
        "dmy": "day, month, year: 14/05/12 is 14 May ..12",
        "mdy": "month, day, year: 14/05/12 is no day",
        "ymd": "year, month, day: 14/05/12 is 12 May ..14",
    }
    found = Looked(text_file(tmp_path, text), order="ymd", century="2000")
    assert found.column("tested_on") == [date(2014, 5, 12)]
    settled = Looked(text_file(tmp_path, text + "PR-1;31/01/12;3\nPR-1;30/04/42;3\n"))
    assert settled.questions["order"] == "dmy"


def test_a_percent_between_a_likely_share_and_one_is_asked_about_by_itself(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;0.03\nPR-1;2013-05-14;0.5\nPR-1;2014-05-14;1\n"
    asked = Looked(text_file(tmp_path, text), percent="fraction")
    assert "0.5 is 50 %" in dict(asked.question("middle").choices)["fraction"]
    assert [code for _, code in asked.problems] == ["share_open", "share_open"]
    found = Looked(text_file(tmp_path, text), percent="fraction", middle="fraction")
    assert found.column("percent") == [Decimal(3), Decimal(50), Decimal(100)]
    found = Looked(text_file(tmp_path, text), percent="fraction", middle="percent")
    assert found.column("percent") == [Decimal(3), Decimal("0.5"), Decimal(1)]


def test_of_one_percent_alone_nothing_is_asked(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;1\n"
    assert Looked(text_file(tmp_path, text)).settled.open == []
    text += "PR-1;2013-05-14;0.98\n"
    assert [one.code for one in Looked(text_file(tmp_path, text)).settled.open] == ["middle"]


def test_beside_whole_percents_half_a_percent_is_one(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;3.1\nPR-1;2013-05-14;0.5\n"
    found = Looked(text_file(tmp_path, text))
    assert (found.settled.open, found.column("percent")[1]) == ([], Decimal("0.5"))


def test_day_counts_of_a_spreadsheet_are_asked(tmp_path):
    """46115 is 3 April 2026 counted from 1900: 36526 is 1 January 2000 (ISO/IEC 29500-1,
    18.17.4.1), and 9589 days later is 3 April 2026 by the calendar."""
    assert date(2000, 1, 1) + dt.timedelta(days=46115 - 36526) == date(2026, 4, 3)
    text = "tag;date;percent\nPR-1;46115;3\n"
    asked = Looked(text_file(tmp_path, text))
    assert "3 Apr 2026" in dict(asked.question("count").choices)["1900"]
    found = Looked(text_file(tmp_path, text), count="1900")
    assert found.column("tested_on") == [date(2026, 4, 3)]


def test_days_of_a_workbook_are_days(tmp_path):
    rows = [["tag", "date", "percent"], ["PR-1", dt.datetime(2026, 4, 3, 14, 30), "3 %"]]
    found = Looked(workbook(tmp_path, rows))
    assert found.column("tested_on") == [date(2026, 4, 3)]
    assert not found.settled.open


def test_heads_merged_over_two_rows_are_read_together(tmp_path):
    rows = [
        ["Old folder of the invented quay"],
        [],
        ["Tag", "Date", "Percent", "Limits", None],
        [None, None, None, "lower", "upper"],
        ["PR-1", date(2012, 5, 14), 3.12, 3.0, 3.9],
    ]
    found = Looked(workbook(tmp_path, rows, merged=["D3:E3"]))
    assert found.column("lower_limit") == [Decimal(3)]
    assert found.column("upper_limit") == [Decimal("3.9")]


def test_blank_lines_are_passed_over_and_notes_below_are_kept_apart(tmp_path):
    text = (
        "Results;;\ntag;date;percent\nPR-1;2012-05-14;3.1\n;;\nPR-1;2013-05-14;3.2\n"
        "Mean;;3.15\n;;\nMeasured by the invented crew with the old instrument;;\n"
    )
    found = Looked(text_file(tmp_path, text))
    assert found.column("percent") == [Decimal("3.1"), Decimal("3.2")]
    assert [row for row, _ in found.survey.notes] == [6, 8]
    assert not found.problems
    assert "invented crew" in found.survey.notes[1][1]


def test_a_hole_amid_the_table_is_no_note(tmp_path):
    text = "tag;date;percent\nPR-1;2012-05-14;3.1\nPR-1;;\nPR-1;2013-05-14;3.2\n"
    found = Looked(text_file(tmp_path, text))
    assert found.problems == [("B3", "missing"), ("C3", "missing")]


def test_numbers_stored_as_text_are_numbers(tmp_path):
    rows = [["tag", "date", "percent"], ["PR-1", "2012-05-14", "3.12"]]
    found = Looked(workbook(tmp_path, rows))
    assert found.column("percent") == [Decimal("3.12")]


def test_a_table_that_begins_off_the_corner_keeps_its_places(tmp_path):
    rows = [[], [None, "tag", "date", "percent"], [None, "PR-1", date(2012, 5, 14), "three"]]
    assert Looked(workbook(tmp_path, rows)).problems == [("D3", "not_a_number")]


def test_our_own_sign_against_formulas_is_taken_off_again(tmp_path):
    text = "tag;date;percent;note\n'-PR;2012-05-14;3.1;x\n"
    assert Looked(text_file(tmp_path, text)).column("tag") == ["-PR"]


def test_a_short_row_and_a_long_table_are_read_to_their_end(tmp_path):
    rows = "".join(f"PR-{i % 7};2012-05-14;3.1\n" for i in range(9_000))
    found = Looked(text_file(tmp_path, f"tag;date;percent;note\n{rows}"))
    assert len(found.rows) == 9_000
    assert found.survey.last == 9_001
    assert delimiter_of(found.source.path, "utf-8") == ";"
