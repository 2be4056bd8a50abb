"""Rows that a workbook hides come in or stay out as a person says, and never without a word."""

import openpyxl
import pytest
from django.utils import timezone

from itm.doors.files import take_up
from itm.records.models import PastResult
from tests.itm.intake.imports import answered, handed_in
from tests.itm.intake.tables.files import workbook

HEAD = ["site", "proportioner", "flow_point", "tested_on", "percent"]


@pytest.fixture
def looked_at(scene, tmp_path):
    def make(*hidden: int, **odd: object):
        place = [scene.site.name, scene.proportioner.tag, "design"]
        rows = [[*place, f"2019-05-{n:02d}", odd.get(f"row{n + 1}", 3.1)] for n in range(1, 6)]
        path = workbook(tmp_path, [HEAD, *rows])
        book = openpyxl.load_workbook(path)
        for row in hidden:
            book.active.row_dimensions[row].hidden = True
        book.save(path)
        return handed_in(scene.owner, "history", path.read_bytes(), name="filtered.xlsx")

    return make


def test_hidden_rows_are_told_and_asked_about(looked_at):
    row = looked_at(3, 5)
    assert row.state == "open"
    [question] = [one for one in row.findings["questions"] if not one["found"]]
    assert question["code"] == "hidden"
    assert question["sentence"].startswith("Rows 3, 5: hidden in this workbook")


@pytest.mark.parametrize(("said", "numbers"), [("in", [2, 3, 4, 5, 6]), ("out", [2, 4, 6])])
def test_they_come_in_or_stay_out_as_answered(scene, looked_at, said, numbers):
    row = answered(scene.owner, looked_at(3, 5), hidden=said)
    assert (row.state, row.rows) == ("ready", len(numbers))
    take_up(actor=scene.owner, row=row, at=timezone.now())
    assert list(PastResult.objects.order_by("row").values_list("row", flat=True)) == numbers


def test_what_is_wrong_in_a_row_that_stays_out_is_no_problem(scene, looked_at):
    row = answered(scene.owner, looked_at(3, row3="#REF!"), hidden="out")
    assert (row.state, row.rows) == ("ready", 4)


def test_without_hidden_rows_nothing_is_asked(looked_at):
    assert looked_at(1).state == "ready"  # the heads alone
