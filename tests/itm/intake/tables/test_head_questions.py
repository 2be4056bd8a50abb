"""Heads that are nearly ours: none is guessed, and none is passed over in silence."""

from decimal import Decimal

from itm.intake.tables.dialect import settle
from itm.intake.tables.head import find_head, match
from itm.intake.tables.head_questions import settle_heads
from itm.intake.tables.reading import Reader
from itm.intake.tables.survey import look_through
from tests.itm.intake.tables.files import TABLE, Looked, text_file

ROW = "PR-1;2012-05-14;3.1;850\n"


def heads(tmp_path, head: str, rows: str = ROW, remembered=None, **answers: str):
    source = Looked(text_file(tmp_path, f"{head}\n{rows}")).source
    first = source.first_rows()
    found = find_head(first, TABLE)
    return source, settle_heads(found, TABLE, match(found, TABLE), answers, remembered or {})


def test_a_unit_in_brackets_that_is_two_is_asked_about_with_its_column(tmp_path):
    """US and imperial gallons differ by a fifth."""
    for name in ("flow (gpm)", "Flow [gpm]", "flow gpm", "Flow_gpm"):
        source, found = heads(tmp_path, f"tag;date;percent;{name}")
        [question] = found.questions
        assert (question.code, question.found) == (f"head:3:{name}", ""), name
        assert name in question.sentence
        assert [value for value, _ in question.choices] == ["L/min", "US gpm", "not"]
        answer = {question.code: "US gpm"}
        source, found = heads(tmp_path, f"tag;date;percent;{name}", **answer)
        survey = look_through(source.blocks(), found.head, found.columns, TABLE)
        dialect = settle(survey, found.head, found.columns, TABLE, {}).dialect
        reader = Reader(TABLE, found.head, found.columns, dialect, last=survey.last)
        [batch] = reader.batches(source.blocks())
        [flow] = batch.values["flow"]
        assert (flow.number, flow.unit) == (Decimal(850), "US gpm")


def test_left_out_by_a_person_it_is_named_as_not_read(tmp_path):
    source, found = heads(tmp_path, "tag;date;percent;flow (gpm)", **{"head:3:flow (gpm)": "not"})
    assert "flow" not in found.columns
    assert look_through(source.blocks(), found.head, found.columns, TABLE).others == {3: 2}


def test_two_units_over_one_column_are_asked_about_and_one_unit_twice_is_not(tmp_path):
    _, found = heads(tmp_path, "tag;date;percent;flow (US gpm)", f";;;L/min\n{ROW}")
    assert [one.found for one in found.questions] == [""]
    _, found = heads(tmp_path, "tag;date;percent;flow (L/min)", f";;;L/min\n{ROW}")
    assert (found.questions, found.columns["flow"]) == ((), 3)


def test_another_word_in_brackets_is_asked_about_and_taken_for_nothing_by_itself(tmp_path):
    _, found = heads(tmp_path, "tag;date (received);percent;index (K)")
    assert [one.code for one in found.questions] == ["head:1:date (received)", "head:3:index (K)"]
    assert found.open


def test_of_two_columns_that_can_be_ours_a_person_says_which(tmp_path):
    _, found = heads(tmp_path, "tag;date;percent;Percent")
    [question] = found.questions
    assert question.code == "twin:percent:2-3"
    assert [label for _, label in question.choices] == [
        "column C, “percent”", "column D, “Percent”"
    ]  # fmt: skip
    _, found = heads(tmp_path, "tag;date;percent;Percent", **{"twin:percent:2-3": "3"})
    assert (found.columns["percent"], found.open) == (3, False)


def test_a_head_that_the_organisation_chose_before_is_not_asked_about_again(tmp_path):
    _, found = heads(tmp_path, "tag;device;date;percent", remembered={"tag": ["tag"]})
    assert not found.questions
    _, found = heads(tmp_path, "tag;tag;date;percent", remembered={"tag": ["tag"]})
    assert found.open
