"""The face: parts say what they are given, pages ask nothing of other machines or of scripts."""

import hashlib
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from django.conf import settings
from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.test import RequestFactory

from itm.core.figures import day, instant, percent, thin
from itm.reports.plot import TrendSeries, trend_plot

STATIC = Path(settings.BASE_DIR) / "itm" / "web" / "static"
TEMPLATES = Path(settings.BASE_DIR) / "templates"
SHEET = (STATIC / "itm.css").read_text()


def part(name, **context):
    return render_to_string(f"parts/{name}.html", context)


class TestForm(forms.Form):
    flow = forms.FloatField(label="Solution flow", help_text="As the meter shows it.")
    told = forms.BooleanField(label="Monitoring company told", required=False)
    phase = forms.ChoiceField(
        label="Phase", choices=[("found", "As found")], widget=forms.RadioSelect
    )

    __test__ = False


# Numbers and times


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (3.2149, "3.21"),
        (3.9, "3.90"),
        (3.9004, "3.9004"),  # rich: "3.90" would stand on the limit
        (3.904, "3.904"),
        (3.91, "3.91"),
        (3.90001, "3.9001"),  # still on the limit with four digits: away from it
        (2.9999, "2.9999"),
        (2.99999, "2.9999"),
        (3.9 + 4e-16, "3.90"),  # within 1e-9 of a limit is on it
    ],
)
def test_percent_never_contradicts_its_verdict(value, shown):
    assert percent(value, (3.0, 3.9)) == shown


def test_percent_agrees_with_the_limits_over_the_whole_range():
    for limits in ((3.0, 3.9), (2.75, 3.575), (1.0, 1.3)):
        for edge in limits:
            for step in range(-2000, 2001):
                value = edge + step * 7.3e-6
                written = percent(value, limits)
                digits = len(written.partition(".")[2])
                assert 2 <= digits <= 4
                shown = Decimal(written) - Decimal(str(edge))
                assert (shown > 0) - (shown < 0) == (step > 0) - (step < 0), (value, written)


def test_percent_without_limits_has_two_digits_and_no_value_is_no_text():
    assert percent(3.14159) == "3.14"
    assert percent(None) == ""


def test_day_reads_alike_in_every_country():
    assert day(date(2026, 11, 2)) == "2 Nov 2026"
    assert day(None) == ""


def test_instant_stands_on_the_clock_of_the_site():
    at = datetime(2026, 7, 12, 22, 5, tzinfo=UTC)
    assert instant(at, "Europe/Berlin") == "13 Jul 2026 00:05 +02:00"
    assert instant(at, "America/St_Johns") == "12 Jul 2026 19:35 -02:30"
    assert instant(None, "UTC") == ""


@pytest.mark.parametrize(
    ("value", "shown"),
    [(1900, "1\u2009900"), ("12500.25", "12\u2009500.25"), (-1234567, "-1\u2009234\u2009567"),
     (420, "420"), ("0042", "0\u2009042"), ("none", "none"), (1e16, "1e+16")],
)  # fmt: skip
def test_thousands_are_set_apart_by_a_thin_space(value, shown):
    assert thin(value) == shown


# Parts


@pytest.mark.parametrize("limits", ["in band", "lean", "rich"])
def test_limits_have_a_word_and_a_shape_of_their_own(limits):
    html = part("limits", limits=limits)
    assert f"<strong>{limits}</strong>" in html
    others = {"in band", "lean", "rich"} - {limits}
    drawn = re.search(r"<svg.*?</svg>", html)[0]
    assert all(drawn not in part("limits", limits=other) for other in others)


def test_certainty_says_the_chance_and_differs_by_stroke():
    settled = part("certainty", certainty="settled", chance=96)
    undecided = part("certainty", certainty="undecided", chance=71)
    assert "96 of 100" in settled
    assert "stroke-dasharray" not in settled
    assert "71 of 100" in undecided
    assert "stroke-dasharray" in undecided
    assert "of 100" not in part("certainty", certainty="settled", chance=None)


def test_answer_shows_number_uncertainty_and_both_lines():
    html = part("answer", answer={
        "name": "Design flow", "flow": "1900 L/min", "percent": "3.71", "half_width": "0.30",
        "limits": "in band", "certainty": "undecided", "chance": 71, "lines": ["<b>x</b>"],
    })  # fmt: skip
    for words in ("Design flow", "1900 L/min", "3.71", "±", "0.30", "in band", "71 of 100"):
        assert words in html
    assert "&lt;b&gt;" in html


def test_answer_without_percent_says_no_result():
    html = part("answer", answer={"name": "Half flow", "percent": "", "lines": ["not steady"]})
    assert "no result" in html
    assert "not steady" in html
    assert "±" not in html


def test_field_ties_label_unit_help_and_error_to_its_entry():
    form = TestForm({"flow": "42o", "phase": "found"})
    html = part("field", field=form["flow"], unit="L/min")
    described = re.search(r'aria-describedby="([^"]*)"', html)[1].split()
    assert described == ["id_flow_helptext", "id_flow_error"]
    assert all(f'id="{name}"' in html for name in described)
    assert '<label for="id_flow">' in html
    assert ">L/min<" in html
    assert 'value="42o"' in html
    assert 'aria-invalid="true"' in html


def test_field_takes_the_unit_that_the_form_gives():
    form = TestForm()
    form.fields["flow"].unit = "m³/h"
    assert ">m³/h<" in part("field", field=form["flow"])


def test_choices_stand_in_a_fieldset_with_a_legend_and_ticks_inside_their_label():
    form = TestForm()
    assert "<legend>Phase</legend>" in part("field", field=form["phase"])
    tick = part("field", field=form["told"])
    assert re.search(r"<label[^>]*><input[^>]*> Monitoring company told</label>", tick)


def test_form_errors_link_to_each_field_and_say_nothing_when_there_are_none():
    html = part("form_errors", form=TestForm({"flow": "x", "phase": "found"}))
    assert 'role="alert"' in html
    assert 'href="#id_flow"' in html
    good = part("form_errors", form=TestForm({"flow": "4", "phase": "found"}))
    assert "<div" not in good


@pytest.mark.parametrize(
    ("standing", "days", "words"),
    [("ahead", 210, "in 210 days"), ("open", 1, "in 1 day"), ("due", 0, "today"),
     ("overdue", -1, "by 1 day"), ("overdue", -33, "by 33 days")],
)  # fmt: skip
def test_standing_has_its_word_and_its_days(standing, days, words):
    html = part("standing", standing=standing, days=days)
    assert f"<strong>{standing}</strong>" in html
    assert f">{words}<" in html


def test_pager_keeps_the_other_parameters():
    request = RequestFactory().get("/sites/", {"word": "dock", "page": "2"})
    page = Paginator(range(100), 10).page(2)
    html = render_to_string("parts/pager.html", {"page": page}, request=request)
    assert 'href="?word=dock&amp;page=3"' in html
    assert 'href="?word=dock&amp;page=1"' in html
    assert "of" not in part("pager", page=Paginator([1], 10).page(1))


def test_breadcrumbs_end_with_this_page_and_no_link():
    html = part("breadcrumbs", crumbs=[("Harbour", "/s/1"), ("Visit", "")])
    assert '<a href="/s/1">Harbour</a>' in html
    assert '<span aria-current="page">Visit</span>' in html


def test_steps_say_their_state_in_words():
    html = part("steps", steps=[
        {"label": "Prepare", "url": "/a", "state": "done"},
        {"label": "Bench", "url": "/b", "state": "current"},
        {"label": "Hand in", "url": "", "state": "todo"},
    ])  # fmt: skip
    assert re.findall(r"<small>(.*?)</small>", html) == ["done", "now", "to do"]
    assert '<a href="/b" aria-current="step">' in html
    assert "<span>Hand in</span>" in html


def test_figure_shows_the_plot_as_drawn():
    svg = trend_plot(TrendSeries("Design flow", ()), width=340)
    html = part("figure", figure={"wide": svg, "narrow": svg, "caption": "Every <year>"})
    assert html.count(svg) == 2
    assert "Every &lt;year&gt;" in html


def test_caution_notice_and_empty_state_say_their_words():
    assert "<strong>Caution:</strong> Foam is slippery." in part(
        "caution", text="Foam is slippery."
    )
    warning = part("notice", kind="warning", where="Bottle S3", text="1.4 °C warmer.")
    assert "<strong>Bottle S3:</strong> 1.4 °C warmer." in warning
    assert "Warning: " in warning
    assert "Warning: " not in part("notice", text="Frozen.")
    empty = part("empty", sentence="No visits.", action_url="/new", action_label="Prepare one")
    assert re.search(r'<a role="button" href="/new">Prepare one</a>', empty)


# Pages


def test_every_page_has_landmarks_a_skip_link_and_the_standing_caution():
    html = render_to_string("404.html", request=RequestFactory().get("/"))
    assert '<html lang="en">' in html
    assert '<a class="skip" href="#main">' in html
    assert '<main id="main"' in html
    assert "qualified" in html
    assert "local code" in html


def test_fault_page_needs_no_request_and_no_context():
    assert "Something broke on our side" in render_to_string("500.html")


def test_undo_is_offered_as_a_button_that_posts():
    class Message(str):
        level, level_tag, extra_tags = 25, "success", "/readings/7/undo"

    html = part("message", message=Message("Reading set aside."))
    assert '<form method="post" action="/readings/7/undo">' in html
    assert 'role="status"' in html


def test_no_template_has_inline_style_or_script():
    for path in sorted(TEMPLATES.rglob("*.html")):
        if path.is_relative_to(TEMPLATES / "report"):
            continue  # paper, not a page: no content policy applies to the PDF
        text = path.read_text()
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|hx-on|hx-live|javascript:", text), path
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), path
        assert not re.search(r'(?:src|href)="(?:https?:)?//', text), path


def test_every_head_and_label_in_a_template_begins_with_a_capital():
    """But for pH, which is written so, and a tick that goes on the words of its cell."""
    kinds = "th|dt|h[1-6]|caption|legend|figcaption|summary|label|button"
    apart = ("pH", "waits: tick it once held against the edition")
    found, seen = [], 0
    for path in sorted(TEMPLATES.rglob("*.html")):
        text = path.read_text()
        said = re.findall(rf"<({kinds})\b[^>]*>(.*?)</\1>", text, re.DOTALL)
        words = [re.sub(r"<svg.*?</svg>|<[^>]*>", "", inner).strip() for _, inner in said]
        words += re.findall(r'data-head="([^"]*)"', text)
        seen += len(words)
        found += [(path.name, one) for one in words if re.match("[a-z]", one) and one not in apart]
    assert found == []
    assert seen > 1000


def test_stylesheet_fetches_only_files_that_lie_beside_it():
    for address in re.findall(r'url\("([^"]*)"\)', SHEET):
        assert (STATIC / address).is_file(), address


def test_every_picture_of_the_vendored_sheet_by_data_address_is_replaced():
    """Each picture that Pico brings inside its rules is overridden by one of ours."""
    vendored = (STATIC / "vendor/pico/pico.min.css").read_text()
    icons = set(re.findall(r"background-image:var\((--pico-icon-[a-z]+)\)", vendored))
    # valid is never set by Django; close and loading belong to elements that no page has.
    assert icons - {"--pico-icon-valid", "--pico-icon-close"} == {
        "--pico-icon-invalid", "--pico-icon-chevron", "--pico-icon-checkbox", "--pico-icon-minus",
        "--pico-icon-date", "--pico-icon-time", "--pico-icon-search", "--pico-icon-loading",
    }  # fmt: skip
    for selector in ("[aria-invalid]", "select:not", "checkbox\"]:checked", "indeterminate",
                     "type=\"date\"", "type=\"time\"", "type=\"search\"", "aria-busy"):  # fmt: skip
        assert re.search(re.escape(selector) + r"[^{]*\{[^}]*background-image", SHEET), selector


def test_vendored_files_are_the_ones_that_the_table_names():
    rows = re.findall(
        r"^\| (\S+) \| \S+ \| \S+ \| [^|]* \| ([0-9a-f]{64}) \|$",
        (STATIC / "vendor/VENDORED.md").read_text(),
        re.MULTILINE,
    )
    kept = {
        path.relative_to(STATIC / "vendor").as_posix()
        for path in (STATIC / "vendor").rglob("*")
        if path.suffix in {".css", ".js", ".woff2"}
    }
    assert {name for name, _ in rows} == kept
    for name, digest in rows:
        assert hashlib.sha256((STATIC / "vendor" / name).read_bytes()).hexdigest() == digest


# Contrast, by the formulas for relative luminance and contrast ratio of WCAG 2.2 (W3C, definitions
# of both terms); 4.5 is its success criterion 1.4.3, 3 its 1.4.11 for what is no text.


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, two):
    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def colours(scheme):
    blocks = re.findall(r":root \{(.*?)\}", SHEET, re.DOTALL)
    light, dark = (dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block)) for block in blocks[:2])
    return light if scheme == "light" else light | dark


def test_contrast_of_black_on_white_is_21():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("front", "back", "least"),
    [
        *((front, back, 4.5) for back in ("paper", "card")
          for front in ("ink", "soft", "blue", "blue-deep", "inside", "outside", "unsure")),
        ("on-press", "press", 4.5),
        ("on-bar", "bar", 4.5),
        ("on-bar-soft", "bar", 4.5),
        ("edge", "card", 3),
        ("edge", "paper", 3),
    ],
)  # fmt: skip
def test_colours_can_be_told_apart(scheme, front, back, least):
    known = colours(scheme)
    assert contrast(known[front], known[back]) >= least


def test_word_for_search_stays_for_those_who_hear_the_page(client, sign_in, scene):
    """On a phone a mark stands in its place; the word is hidden from the eye alone."""
    text = sign_in(client, scene.contractor).get("/").content.decode()
    [link] = re.findall(r'<a href="/search/"[^>]*>(.*?)</a>', text, re.DOTALL)
    assert 'aria-hidden="true"' in link
    assert '<span class="long">Search</span>' in link
    hidden = re.search(r"header.top nav .long {([^}]*)}", SHEET)
    assert hidden
    assert "display" not in hidden[1]  # which would take it from everybody
    assert "visibility" not in hidden[1]
