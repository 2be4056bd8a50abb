"""The page side by side, and tables to take along."""

import io
from datetime import date

import openpyxl
import pytest
from django.urls import reverse
from django.utils.html import escape

from itm.reports.plot_slope import WIDTH, slope_mark
from tests.itm.trends.kept import kept
from tests.itm.trends.test_beside import FALLING, LEVEL, second, years  # noqa: F401
from tests.table_files import read_csv, read_xlsx


def test_the_page_says_who_drifts_and_how_many_chance_alone_gives(client, sign_in, scene, second):  # noqa: F811
    years(scene, LEVEL)
    years(scene, FALLING, second)
    sign_in(client, scene.authority)
    page = client.get(reverse("side_by_side")).content.decode()
    assert page.index("PR-2") < page.index(f">{scene.proportioner.tag}<")
    assert "falling (6 results, by chance in" in page
    assert "stands out among all" in page
    assert "chance alone makes five in a hundred look so" in page
    assert "By type" in page


@pytest.mark.parametrize("by", ["kind", "age", "concentrate", "contractor"])
@pytest.mark.parametrize("order", ["drift", "leaving", "baseline", "place"])
def test_every_order_and_sum_opens(client, sign_in, scene, by, order):
    years(scene, FALLING)
    sign_in(client, scene.owner)
    answer = client.get(reverse("side_by_side"), {"by": by, "order": order})
    assert answer.status_code == 200
    assert f'value="{order}" selected' in answer.content.decode()


def test_odd_values_in_the_address_narrow_nothing(client, sign_in, scene):
    years(scene, LEVEL)
    sign_in(client, scene.owner)
    odd = {"kind": "x", "contractor": "x", "age": "x", "order": "x", "by": "x", "page": "x"}
    assert scene.proportioner.tag in client.get(reverse("side_by_side"), odd).content.decode()


def test_nothing_tested_and_nothing_that_fits_are_said(client, sign_in, scene):
    sign_in(client, scene.owner)
    assert "No sealed test yet" in client.get(reverse("side_by_side")).content.decode()
    page = client.get(reverse("side_by_side"), {"find": "nowhere"}).content.decode()
    assert "fits what you asked for" in page


def test_both_tables_hold_what_the_page_shows(client, sign_in, scene, second):  # noqa: F811
    years(scene, FALLING)
    years(scene, [3.4, 3.5], second)
    sign_in(client, scene.authority)
    text = read_csv(client.get(reverse("side_by_side_csv")))
    book = read_xlsx(client.get(reverse("side_by_side_xlsx"), {"find": "nowhere"}))
    assert book == []
    book = read_xlsx(client.get(reverse("side_by_side_xlsx")))
    assert [row["Proportioner"] for row in text] == [row["Proportioner"] for row in book]
    assert [row["Years say"] for row in text] == ["falling", "too few results"]
    assert float(text[0]["Slope, points a year"]) == book[0]["Slope, points a year"] < 0
    assert book[1]["Slope, points a year"] is None
    assert isinstance(book[0]["Percent"], float)


def test_a_name_that_looks_like_a_formula_is_text_in_both(client, sign_in, scene):
    scene.proportioner.tag = "=1+1"
    scene.proportioner.save(by=scene.owner)
    years(scene, LEVEL)
    sign_in(client, scene.owner)
    [row] = read_csv(client.get(reverse("side_by_side_csv")))
    assert row["Proportioner"] == "'=1+1"
    answer = client.get(reverse("side_by_side_xlsx"))
    cell = openpyxl.load_workbook(io.BytesIO(answer.content)).active["C2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


def test_the_table_of_a_trend_holds_what_is_in_the_line_and_what_stands_beside(
    client, sign_in, scene
):
    bad = kept(scene, {"design": 4.4}, on=date(2025, 6, 1), limits="rich")
    kept(scene, {"design": 3.4}, on=date(2025, 6, 1), visit=bad.visit, amends=bad,
         amendment_reason="slip in a reading")  # fmt: skip
    sign_in(client, scene.authority)
    key = scene.proportioner.key
    rows = read_csv(client.get(reverse("trend_csv", args=[key])))
    assert [(row["Percent"], row["Counts"]) for row in rows if row["Percent"]] == [
        ("3.4", "in the line"),
        ("4.4", "corrected since"),
    ]
    told = [(row["Flow point"], row["Counts"], row["Note"]) for row in rows if not row["Percent"]]
    assert told[0][:2] == ("", "event")
    assert told[0][2] == "record corrected. slip in a reading"
    assert {row[1] for row in told[1:]} == {"what the years say"}
    page = client.get(reverse("trend", args=[key])).content.decode()
    assert told[1:]
    for name, _, words in told[1:]:
        assert name == "design"
        assert escape(words) in page
    book = read_xlsx(client.get(reverse("trend_xlsx", args=[key])))
    assert [row["Percent"] for row in book if row["Percent"] is not None] == [3.4, 4.4]
    assert [row["Note"] for row in book][-len(told) :] == [words for _, _, words in told]


def test_a_slope_is_drawn_on_its_scale_and_an_open_interval_is_hollow():
    drawn = slope_mark(0.1, -0.1, 0.3, reach=0.2, title="x")
    assert f'cx="{WIDTH / 2 + (WIDTH / 2 - 8) / 2:.1f}"' in drawn
    assert 'class="plot-solid"' in drawn
    assert 'class="plot-open"' in slope_mark(0.1, None, None, reach=0.2, title="x")
    assert f'cx="{WIDTH / 2:.1f}"' in slope_mark(0.0, None, None, reach=0.0, title="x")
