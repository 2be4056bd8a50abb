"""What stands on a report, from a document made by hand (tests/itm/reports/sample.py)."""

import html
import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.template.loader import render_to_string
from hypothesis import example, given
from hypothesis import strategies as st

from calc.acceptance import Band, limits
from itm.core.figures import chance, plainly
from itm.reports import content_results as results
from itm.reports.content_bench import certificate, standards
from itm.reports.curve import curve
from itm.reports.render import css_text, page_context
from itm.reports.wording import SiteClock
from tests.itm.reports import sample

BAND = {"lower": "3", "upper": "3.9"}
# What a report does not print: addresses of rows, codes that it words, and the engine's own form.
NOT_PRINTED = {
    "key", "form", "kind", "method", "evaluation", "moves", "verdict_probability", "criterion",
    "temperature_compensated", "include_water", "percent", "minutes",
}  # fmt: skip


def text_of(form: dict[str, Any]) -> str:
    """The page as a reader gets it: tags away, entities read, white space single."""
    page = render_to_string("report/report.html", page_context(sample.paper_of(form), styles=[]))
    body = page[page.index("<body>") :]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def words(value: Any, name: str = "") -> list[str]:
    """Every text in a document that somebody typed or chose."""
    if name in NOT_PRINTED:
        return []
    if isinstance(value, dict):
        return [w for n, v in value.items() for w in words(v, n)]
    if isinstance(value, list):
        return [w for v in value for w in words(v)]
    return [value] if isinstance(value, str) and value else []


def point(percent: float, **more: Any) -> dict[str, Any]:
    band = Band(Decimal(BAND["lower"]), Decimal(BAND["upper"]))
    return {
        "name": "design", "percent": percent, "standard_uncertainty": 0.06,
        "degrees_of_freedom": 2, "interval": [percent - 0.26, percent + 0.26],
        "limits": limits(percent, band), "probability_of_limits": 0.9, "certainty": "settled",
        **more,
    }  # fmt: skip


def answer(one: dict[str, Any], wanted: float | None = 0.75, **form: Any) -> results.Answer:
    document = {
        "runs": [],
        "supply": form.get("supply", []),
        "test": {"band": BAND, "verdict_probability": wanted},
        "evaluation": {"result": {"flow_points": [one]}},
    }
    return results.answers(document)[0]


def test_everything_that_was_typed_stands_on_the_report() -> None:
    form = sample.document()
    shown = text_of(form)
    instant = re.compile(r"\d{4}-\d\d-\d\dT")
    day = re.compile(r"\d{4}-\d\d-\d\d$")
    grouped = shown.replace(" ", "")
    for text in words(form):
        if instant.match(text) or day.match(text):
            continue
        plain = " ".join(text.split())
        assert (
            plain in shown
            or plain.lower() in shown.lower()
            or text in grouped
            or all(line in shown for line in text.splitlines())
        ), text


def test_instants_stand_on_the_clock_of_the_site() -> None:
    # Lisbon is an hour ahead of UTC in June (IANA time zone database).
    shown = text_of(sample.document())
    assert "18 Jun 2026 18:45 +01:00" in shown  # sealed 17:45 UTC
    assert "11:14:00" in shown  # foam seen 10:14 UTC


def test_another_day_is_named_beside_the_time() -> None:
    clock = SiteClock("Pacific/Auckland", date(2026, 6, 18))
    assert clock.time("2026-06-18T11:00:00Z") == "23:00:00"
    assert clock.time("2026-06-18T13:00:00Z") == "19 Jun 2026 01:00:00"


# NFPA 11, section on induction rate: both limits belong to the band, so 3.9 on a 3 % system is in
# it. 2.96 and 3.94 are the two roundings that turn a verdict round (printed 3.0 and 3.9).
@pytest.mark.parametrize(
    ("percent", "shown", "verdict"),
    [
        (3.9, "3.90", "in band"),
        (3.0, "3.00", "in band"),
        (2.96, "2.96", "lean"),
        (3.94, "3.94", "rich"),
        (2.9996, "2.9996", "lean"),
        (3.9004, "3.9004", "rich"),
        (3.90000001, "3.9001", "rich"),
        (2.99999999, "2.9999", "lean"),
    ],
)
def test_a_printed_percent_lies_where_its_verdict_says(
    percent: float, shown: str, verdict: str
) -> None:
    made = answer(point(percent))
    assert (made.percent, made.limits) == (shown, verdict)


@given(
    near=st.sampled_from([3.0, 3.9]),
    away=st.floats(-0.02, 0.02, allow_nan=False),
    half=st.floats(1e-6, 3.0),
)
@example(near=3.9, away=4e-16, half=0.3)
def test_paper_and_verdict_never_disagree(near: float, away: float, half: float) -> None:
    value = near + away
    made = answer(point(value, interval=[value - half, value + half]))
    band = Band(Decimal("3"), Decimal("3.9"))
    assert limits(float(made.percent), band) == made.limits
    assert float(made.expanded) > 0
    low, high = made.interval.split(" to ")
    assert limits(float(low), band) == limits(value - half, band)
    assert limits(float(high), band) == limits(value + half, band)


@given(
    wanted=st.sampled_from([0.5, 0.75, 0.95, 0.999]),
    probability=st.floats(1e-5, 1 - 1e-5, exclude_min=True),
)
@example(wanted=0.75, probability=0.74999)
@example(wanted=0.95, probability=0.9996)
def test_a_printed_chance_never_reaches_a_threshold_it_misses(
    wanted: float, probability: float
) -> None:
    shown = float(chance(probability, wanted)) / 100
    if abs(probability - wanted) > 1e-9:
        assert (shown >= wanted) == (probability >= wanted)
    assert 0 < shown < 1


def test_a_chance_needs_no_digits_where_it_is_clear() -> None:
    assert (chance(0.942, 0.75), chance(0.7496, 0.75), chance(0.75)) == ("94", "74.96", "75")
    assert (chance(0.99999934, 0.75), chance(4e-4, 0.05)) == ("99.9", "0.04")


def test_more_digits_stand_where_the_uncertainty_is_small() -> None:
    made = answer(point(3.45678, interval=[3.45678 - 0.0034, 3.45678 + 0.0034]))
    assert (made.percent, made.expanded) == ("3.4568", "0.0034")


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (20.0, ("20.0 min", "covers the required 20 min")),
        (19.96, ("19.96 min", "less than the required 20 min")),
        (21.44, ("21.4 min", "covers the required 20 min")),
    ],
)
def test_minutes_of_foam_do_not_round_up_to_what_is_required(
    minutes: float, said: tuple[str, str]
) -> None:
    line = {"flow_point": "design", "minutes": minutes, "required_minutes": 20.0, "basis": ""}
    made = answer(point(3.5), supply=[line])
    assert (made.supply, made.supply_note, made.short) == (*said, minutes < 20)


def test_certainty_says_what_was_asked_for() -> None:
    assert answer(point(3.5)).why == "at least 75 asked for"
    short = point(3.5, probability_of_limits=0.7, certainty="undecided")
    assert answer(short).why == "less than the 75 asked for"
    hanging = point(3.5, probability_of_limits=0.9, certainty="undecided")
    assert "a warning below leaves it open" in answer(hanging).why
    assert answer(point(3.5), None).why == "simple acceptance: no probability is asked for"


def test_the_rule_names_band_source_and_probability() -> None:
    form = sample.document()
    rule = " ".join(results.rule(form))
    assert "3.0 to 3.9\u00a0%" in rule
    assert "Source: NFPA 11" in rule
    assert "at least 75 of 100" in rule
    form["test"]["verdict_probability"] = None
    assert "Simple acceptance" in " ".join(results.rule(form))


def test_limits_of_a_system_of_its_own_are_printed_as_written() -> None:
    form = sample.document(criterion={"lower": 2.75, "upper": 3.575})
    form["test"] |= {"criterion": "custom", "band": {"lower": "2.75", "upper": "3.575"}}
    assert "Limits set for this system: 2.75 to 3.575 %." in text_of(form)


def test_a_certificate_out_of_date_on_the_day_of_the_reading_is_flagged() -> None:
    form = sample.document()
    clock = SiteClock.of(form)
    meter = form["bench"]["instrument"]
    assert certificate(form, clock) == "due on 30 Sep 2026, after the readings"
    meter["certificate_due_on"] = "2026-06-18"  # valid through that day
    assert "after the readings" in certificate(form, clock)
    meter["certificate_due_on"] = "2026-06-17"
    assert "Out of date: it was due on 17 Jun 2026" in text_of(form)
    meter |= {"certificate_due_on": None, "certificate": ""}
    assert "none on record" in text_of(form)


def test_a_reading_set_aside_is_struck_through_with_its_reason() -> None:
    form = sample.document()
    page = render_to_string("report/report.html", page_context(sample.paper_of(form), styles=[]))
    assert "<s>1.33491</s>" in page
    assert "bubble on the prism (Teresa Vilar, 13:16:00)" in page
    assert "15 readings, 1 of them set aside" in page
    s4 = next(line for line in standards(form) if line.label == "S4")
    assert s4.reading == "1.334280"  # the mean without it


def test_a_warning_names_the_bottle_it_speaks_of() -> None:
    cold = [list(row) for row in sample.BENCH]
    cold[7][5] = (("1.33414", "17.5"),)
    form = sample.document(tuple(tuple(row) for row in cold))
    warned = results.warnings(form)
    assert "sample D1" in [line.where for line in warned]
    assert "colder than the standards" in text_of(form)
    places = ("$.standards[1]", "$.flow_points[0]", "$.water", "$.instrument.resolution", "$")
    form["evaluation"]["result"]["warnings"] = [
        {"code": "x", "where": where, "message": "m"} for where in places
    ]
    assert [line.where for line in results.warnings(form)] == [
        "standard S3", "flow point minimum", "test water", "instrument", "",
    ]  # fmt: skip


def test_what_was_left_out_of_service_stands_beside_the_result() -> None:
    form = sample.document()
    shown = text_of(form)
    assert shown.index("Not fully restored:") < shown.index("How it was decided")
    form["restoration"] = form["restoration"][:3]
    assert "Not fully restored" not in text_of(form)


def test_an_impairment_still_open_is_said() -> None:
    form = sample.document()
    form["visit"] |= {"restored_at": None, "restored_by": ""}
    assert "not ended when this record was sealed" in text_of(form)


def test_an_amendment_names_the_record_it_corrects() -> None:
    form = sample.document()
    form["amends"] = {"key": "k", "digest": "ab" * 32, "number": 4, "reason": "flow misread"}
    shown = text_of(form)
    assert "corrects sealed record 4" in shown
    assert "flow misread" in shown
    assert " ".join(["abababab"] * 8) in shown


def test_the_curve_draws_what_was_read_and_not_what_was_set_aside() -> None:
    form = sample.document()
    drawn = curve(form)
    assert [label for _, _, label, _ in drawn.points] == ["Water", "S2", "S3", "S4"]
    assert drawn.set_aside == ((pytest.approx(4.05), 1.33491),)
    (name, reading, percent, *_), *_ = drawn.flow_points
    # By hand: bottle means M1 1.334005 and M2 1.333990, their mean is the reading of the point.
    assert (name, reading) == ("minimum", pytest.approx(1.3339975, abs=1e-12))
    assert percent == form["evaluation"]["result"]["flow_points"][0]["percent"]
    form["test"]["include_water"] = False
    assert [used for *_, used in curve(form).points] == [False, True, True, True]


def test_small_numbers_are_written_without_exponents() -> None:
    assert plainly(0.0000312, 3) == "0.0000312"
    assert "residual standard deviation 0.0000086," in text_of(sample.document())
    assert plainly(0.00031219631730024667, 6) == "0.000312196"


def test_the_foot_cannot_leave_its_string() -> None:
    assert css_text('a"}\\') == "a\\22 \\7d \\5c "
