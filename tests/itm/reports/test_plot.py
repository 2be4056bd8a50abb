"""The plots as text: complete, the same every time, legible, and kept apart from scripts."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import date

import pytest

from itm.reports.plot import CalibrationCurve, TrendSeries, calibration_plot, trend_plot
from itm.reports.plot_place import text_width

SVG = "{http://www.w3.org/2000/svg}"

# Invented figures.
CURVE = CalibrationCurve(
    points=(
        (0.0, 1.33312, "Water", False),
        (2.0, 1.33365, "S1", True),
        (3.0, 1.33391, "S2", True),
        (4.0, 1.33418, "S3", True),
    ),
    slope=0.000265,
    intercept=1.333118,
    band=(3.0, 3.9),
    flow_points=(
        ("Minimum flow, remote nozzle", 1.33383, 2.7, 1.8, 3.6, "lean"),
        ("Half flow", 1.33399, 3.3, 2.5, 4.1, "in band"),
        ("Design flow", 1.33403, 3.45, -9.0, 30.0, "in band"),
        ("Largest demand with hose lines", 1.33459, 5.57, 4.4, 6.8, "rich"),
    ),
    samples=((2.68, 1.33382, "D1"), (2.72, 1.33384, "D2")),
    set_aside=((4.0, 1.33402),),
)


def result(year, percent=3.3, limits="in band", certainty="settled", label=""):
    return (date(year, 6, 1), percent, percent - 0.3, percent + 0.3, limits, certainty, label)


SERIES = TrendSeries(
    name="Design flow",
    points=(
        result(2018, 3.05, label="acceptance"),
        result(2019, 3.1),
        result(2020, 2.8, "lean", "undecided", "as found"),
        result(2022, 3.4),
        result(2023, 3.85, certainty="undecided"),
        result(2024, 4.2, "rich"),
    ),
    bands=((None, 3.0, 4.0), (date(2021, 1, 1), 3.0, 3.9)),
    baseline=(date(2018, 6, 1), 3.05),
    events=((date(2020, 7, 1), "metering valve repaired"), (date(2020, 9, 1), "new lot")),
)


def years(count):
    return tuple(result(1996 + i, 3.0 + 0.02 * i) for i in range(count))


def both_plots():
    for width in (340, 640):
        yield calibration_plot(CURVE, width=width)
        yield trend_plot(SERIES, width=width)


def boxes_of_text(picture):
    """The area of each text: x and width by its anchor, y by its baseline."""
    for element in ElementTree.fromstring(picture).iter(f"{SVG}text"):
        size = float(element.get("font-size"))
        number = "Mono" in element.get("font-family")
        wide = text_width(element.text, size, number=number, bold="font-weight" in element.attrib)
        x, y = float(element.get("x")), float(element.get("y"))
        left = x - {"start": 0, "middle": wide / 2, "end": wide}[element.get("text-anchor")]
        yield element.text, left, y - size * 0.75, left + wide, y + size * 0.22


def overlaps(picture):
    found = list(boxes_of_text(picture))
    return [
        (a[0], b[0])
        for i, a in enumerate(found)
        for b in found[i + 1 :]
        if a[1] < b[3] and b[1] < a[3] and a[2] < b[4] and b[2] < a[4]
    ]


def test_title_is_the_first_child_and_the_role_is_img():
    for picture in both_plots():
        root = ElementTree.fromstring(picture)
        assert root.get("role") == "img"
        assert root[0].tag == f"{SVG}title"
        assert root[0].text


def test_equal_input_gives_equal_bytes():
    assert list(both_plots()) == list(both_plots())
    shuffled = replace(SERIES, points=SERIES.points[::-1], events=SERIES.events[::-1])
    assert trend_plot(shuffled) == trend_plot(SERIES)


def test_nothing_in_a_plot_needs_more_than_the_strict_content_policy():
    for picture in both_plots():
        assert not re.search(r'\bstyle=|<style|<script|\bon\w+=|href|url\(|\bid="', picture)


def test_names_are_escaped():
    nasty = '<b onload="x">&</b>'
    curve = replace(CURVE, quantity=nasty, flow_points=((nasty, 1.334, 3.3, 3.0, 3.6, "in band"),))
    for picture in (
        calibration_plot(curve),
        trend_plot(replace(SERIES, name=nasty, events=((date(2020, 1, 1), nasty),))),
        trend_plot(TrendSeries(nasty, ())),
    ):
        assert "<b " not in picture
        assert not [e for e in ElementTree.fromstring(picture).iter() if e.tag == f"{SVG}b"]


@pytest.mark.parametrize("width", [340, 640])
def test_letters_are_at_least_12_pixels_high(width):
    for picture in (calibration_plot(CURVE, width=width), trend_plot(SERIES, width=width)):
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', picture)]
        assert min(sizes) >= 12


@pytest.mark.parametrize("width", [340, 640])
@pytest.mark.parametrize("count", [1, 2, 30])
def test_no_text_overlaps_another_or_leaves_the_trend(width, count):
    series = replace(SERIES, points=years(count), events=())
    assert_legible(trend_plot(series, width=width), width)
    assert_legible(trend_plot(SERIES, width=width), width)


@pytest.mark.parametrize("width", [340, 640])
def test_no_text_overlaps_another_or_leaves_the_calibration_plot(width):
    assert_legible(calibration_plot(CURVE, width=width), width)
    close = tuple(
        (f"Flow point {i}", 1.33394 + 0.00001 * i, 3.1 + 0.04 * i, 2.9, 3.5, "in band")
        for i in range(4)
    )
    assert_legible(calibration_plot(replace(CURVE, flow_points=close), width=width), width)


def assert_legible(picture, width):
    assert overlaps(picture) == []
    for words, left, _, right, _ in boxes_of_text(picture):
        assert left >= 0, words
        assert right <= width, words


def test_verdict_shows_by_shape_and_not_by_colour_alone():
    def paths(limits):
        point = ("Design flow", 1.33403, 3.45, 3.2, 3.7, limits)
        picture = calibration_plot(replace(CURVE, flow_points=(point,)))
        return re.sub(r"<text.*?</text>|<title>.*?</title>", "", picture)

    shapes = [paths(limits) for limits in ("in band", "lean", "rich")]
    colours = [set(re.findall(r"#[0-9a-f]{6}", shape)) for shape in shapes]
    assert len(set(shapes)) == 3
    assert colours[0] == colours[1] == colours[2]


def test_undecided_result_is_hollow():
    def hollow(certainty):
        picture = trend_plot(TrendSeries("x", (result(2020, certainty=certainty),)))
        return len(re.findall('<circle class="plot-open"', picture))

    assert hollow("settled") == 0
    assert hollow("undecided") == 2  # the mark and its entry in the key


def test_line_is_broken_where_a_year_is_missed():
    def joined(*which):
        picture = trend_plot(TrendSeries("x", tuple(result(year) for year in which)))
        line = re.search(r'class="plot-line" d="([^"]*)"', picture)
        return line[1].count("M") if line else 0

    assert joined(2019, 2020, 2021, 2022) == 3
    assert joined(2019, 2020, 2022, 2023) == 2
    assert joined(2019, 2022) == 0


def test_missed_year_is_said_in_the_gap():
    assert ">no result<" in trend_plot(SERIES, width=640)


def test_trend_without_results_says_so():
    picture = trend_plot(TrendSeries("Design flow", ()), width=340)
    assert "no results yet" in picture
    assert ElementTree.fromstring(picture).get("width") == "340"


def test_flow_point_without_result_is_left_out():
    curve = replace(
        CURVE, flow_points=(*CURVE.flow_points, ("Not steady", None, None, None, None, ""))
    )
    assert "Not steady" not in calibration_plot(curve)


def test_interval_beyond_the_picture_ends_in_an_arrow():
    def solid(low, high):
        point = ("Design flow", 1.33403, 3.45, low, high, "in band")
        picture = calibration_plot(replace(CURVE, flow_points=(point,)))
        return picture.count('<path class="plot-solid"')

    assert solid(3.2, 3.7) == 0
    assert solid(3.2, 40.0) == 1
    assert solid(-40.0, 40.0) == 2


def test_set_aside_reading_is_shown_with_its_key():
    assert ">set aside<" in calibration_plot(CURVE)
    assert ">set aside<" not in calibration_plot(replace(CURVE, set_aside=()))


def test_point_outside_the_standards_and_below_water_fits_the_picture():
    point = ("Design flow", 1.3329, -0.8, -1.5, -0.1, "lean")
    picture = calibration_plot(replace(CURVE, flow_points=(point,)), width=340)
    for x in re.findall(r' c?x="(-?[\d.]+)"', picture):
        assert 0 <= float(x) <= 340


def test_changed_criterion_makes_a_step_in_the_band():
    constant = replace(SERIES, bands=((None, 3.0, 3.9),))
    edges = [
        re.findall(
            r'class="plot-hatch" d="([^"]*)" fill="none" stroke="#8fb8aa" stroke-width="1.4"', p
        )
        for p in (trend_plot(constant), trend_plot(SERIES))
    ]
    assert edges[0][0].count("M") == 2
    assert edges[1][0].count("M") == 4


def test_words_that_come_again_too_soon_are_said_once_and_each_has_its_stroke():
    """Else a meter that is another one each year fills lane upon lane."""
    yearly = tuple((date(year, 6, 1), "other meter") for year in range(2018, 2026))
    picture = trend_plot(replace(SERIES, events=yearly), width=350)
    assert 0 < picture.count(">other meter<") < len(yearly)
    assert picture.count('stroke-dasharray="1 3"') == 1
    strokes = re.search(r'd="([^"]*)"[^>]*stroke-dasharray="1 3"', picture)
    assert strokes is not None
    assert strokes[1].count("M") == len(yearly)
