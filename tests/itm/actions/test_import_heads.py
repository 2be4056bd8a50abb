"""Columns and cells of older results that are not read: each is told before anything comes in."""

from datetime import date

from django.urls import reverse

from itm.records.models import PastResult
from tests.itm.intake.imports import answered, handed_in, told
from tests.itm.intake.tables.files import workbook

HEAD = ("site", "proportioner", "flow_point", "tested_on", "percent")


def line(scene, *more):
    return [scene.site.name, scene.proportioner.tag, "design", date(2012, 5, 14), *more]


def test_an_error_and_a_formula_without_a_value_keep_a_workbook_out(scene, tmp_path):
    rows = [[*HEAD, "lower_limit", "flow (L/min)"], line(scene, 3.1, "#DIV/0!", "=850*1")]
    data = workbook(tmp_path, rows).read_bytes()
    row = handed_in(scene.owner, "history", data, name="old.xlsx")
    assert (row.state, told(row)) == ("open", [("F2", "error_cell"), ("G2", "no_value")])


def test_a_column_in_gallons_is_asked_about_and_one_that_nobody_reads_is_named(
    scene, tmp_path, client, sign_in
):
    rows = [[*HEAD, "Flow (gpm)", "weather"], line(scene, 3.1, 500, "dry")]
    data = workbook(tmp_path, rows).read_bytes()
    row = handed_in(scene.owner, "history", data, name="old.xlsx")
    assert [one["code"] for one in row.findings["questions"] if not one["found"]] == [
        "head:5:Flow (gpm)"
    ]
    row = answered(scene.owner, row, **{"head:5:Flow (gpm)": "US gpm"})
    assert (row.state, row.findings["unread"]) == ("ready", ["G “weather”"])
    sign_in(client, scene.owner)
    page = client.get(reverse("import", args=[row.key])).content.decode()
    assert "Not read, as no column of this table: G “weather”." in page
    client.post(reverse("import_take", args=[row.key]))
    # 500 US gpm at 3.785411784 L a gallon (NIST SP 811, B.8) in a minute.
    assert abs(PastResult.objects.get().flow - 500 * 3.785411784e-3 / 60) < 1e-12
