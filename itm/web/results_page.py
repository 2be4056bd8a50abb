"""What the page of a record shows: read from the canonical form alone, as the report reads it.

Figures and words are the report's own, so that page and paper cannot disagree.
"""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

from itm.core.conversions import quantity
from itm.records.advice import what_would_settle
from itm.reports import content_bench as bench
from itm.reports import content_day as day
from itm.reports import content_direct as direct
from itm.reports import content_kept as kept
from itm.reports import content_results as results
from itm.reports.content_statements import two_statements
from itm.reports.curve import curve
from itm.reports.plot import calibration_plot
from itm.reports.wording import SiteClock

WIDE, NARROW = 640, 358
CONCENTRATE = "undiluted concentrate"  # last: what is read after it may carry traces of it
Form = dict[str, Any]
NOT_READ = {
    False: "No sample of this flow point was read.",
    True: "Something of this flow point is not measured yet.",
}


def page(form: Form) -> dict[str, Any]:
    """Everything of the record itself; the steps that a person may take come from the view."""
    clock = SiteClock(form["site"]["time_zone"], date.fromisoformat(form["test"]["tested_on"]))
    context: dict[str, Any] = {
        "form": form,
        "band": results.band_words(form),
        "rule": results.rule(form),
        **measured(form, clock),
        "place": day.place(form),
        "device": day.device(form),
        "occasion": day.occasion(form),
        "runs": day.runs(form, clock),
        "flush": day.flush(form, clock),
        "restoration": day.restoration(form, clock),
        "left_out": day.left_out(form),
        "impairment": day.impairment(form, clock),
        "notices": day.notices(form, clock),
        "moves": kept.moves(form, clock),
        "sent_back": kept.moves(form, clock)[-1]
        if form["moves"] and form["moves"][-1]["verb"] == "send_back"
        else None,
        "amends": kept.amendment(form),
        "signed": kept.signed(form, clock) if "seal" in form else (),
        "handed_in": kept.handed_in(form, clock) if form["handed_in"] else (),
    }
    if form["evaluation"] is not None:
        context |= {
            "answers": answers(form),
            "two": two_statements(form),
            "warnings": warnings(form, clock),
            "samples": results.samples(form, clock),
            "supply_basis": results.supply_basis(form),
            **(by_line(form) if not direct.is_direct(form) else {}),
        }
    return context


def measured(form: Form, clock: SiteClock) -> dict[str, Any]:
    """What was read: on a bench, or by a direct method."""
    if direct.is_direct(form):
        return {
            "measured_with": direct.measured_with(form),
            "points": direct.points(form),
            "method": form["direct"]["method_in_words"],
            "notes": direct.METHOD_NOTES[form["direct"]["method"]],
        }
    return {
        "rows": bench_rows(form),
        "reading_head": reading_head(form),
        "instrument": bench.instrument(form, clock),
        "preparation": bench.preparation(form),
    }


def by_line(form: Form) -> dict[str, Any]:
    """The line of a bench and everything that is read off it."""
    return {
        "figure": figure(form),
        "line": line_figures(form),
        "line_words": bench.line_words(form),
        "fit_words": bench.fit_words(form),
        "standards": bench.standards(form),
    }


def warnings(form: Form, clock: SiteClock) -> list[tuple[str, str]]:
    """Where and what; the same sentence about several bottles stands once."""
    by_text: dict[str, list[str]] = {}
    for warning in (*bench.remarks(form, clock), *results.warnings(form)):
        by_text.setdefault(warning.text, []).append(warning.where)
    return [(", ".join(filter(None, where)), text) for text, where in by_text.items()]


def answers(form: Form) -> list[dict[str, Any]]:
    """One for each flow point that was run, never a mean over them."""
    evaluation = form["evaluation"]
    found = {answer.name: answer for answer in results.answers(form)}
    advice = what_would_settle(evaluation["inputs"], evaluation["result"])
    simple = form["test"]["verdict_probability"] is None
    out = []
    for run in form["runs"]:
        name = run["flow_point"]
        head = {"name": f"Flow point {name}", "flow": quantity(run["solution_flow"] or run["flow"])}
        answer = found.get(name)
        if answer is None:
            out.append({**head, "percent": "", "lines": [NOT_READ[direct.is_direct(form)]]})
            continue
        lines = [f"Its own limits: {answer.band}"] if answer.band else []
        lines += supply_lines(answer)
        if name in advice:
            lines.append(advice[name])
        shown = {**asdict(answer), **head, "half_width": answer.expanded, "lines": lines}
        out.append(shown | ({"certainty": ""} if simple else {}))
    return out


def supply_lines(answer: Any) -> list[str]:
    """Minutes of foam beside the required minutes; its own sentence when they do not suffice."""
    if not answer.supply:
        return []
    lines = [f"Foam lasts {answer.supply}: {answer.supply_note}"]
    if answer.short:
        lines.append("The tank is empty before the required time.")
    return lines


def figure(form: Form) -> dict[str, str]:
    drawn = curve(form)
    return {
        "wide": calibration_plot(drawn, width=WIDE),
        "narrow": calibration_plot(drawn, width=NARROW),
        "caption": "Read off the line as on graph paper; the table has the same figures.",
    }


def reading_head(form: Form) -> str:
    unit = form["bench"]["instrument"]["unit"]
    return f"Reading, {unit}" if unit else "Reading, nD"


def bench_rows(form: Form) -> list[dict[str, Any]]:
    """One row a reading, bottle by bottle; a bottle that was not read has a row too."""
    out = []
    for bottle in sorted(form["bench"]["bottles"], key=lambda b: b["role"] == CONCENTRATE):
        percent = bottle["percent"]
        base = {
            "label": bottle["label"],
            "what": _flow_point_of(bottle),
            "made": "" if percent is None or percent == 100 else f"{percent:.2f}",
        }
        for i, reading in enumerate(bottle["readings"] or [None]):
            out.append({**base, "first": i == 0, "reading": reading})
    return out


def _flow_point_of(bottle: Mapping[str, Any]) -> str:
    """Said only where the label does not say it."""
    point = bottle["flow_point"] or ""
    return "" if bottle["label"].startswith(point) else point


def line_figures(form: Form) -> list[tuple[str, str]]:
    line = form["evaluation"]["result"]["line"]
    return [
        ("Slope, per %", f"{line['slope']:.6g}"),
        ("Intercept", f"{line['intercept']:.9g}"),
        ("Correlation r", f"{line['r']:.7f}"),
        ("Residual standard deviation", f"{line['residual_sd']:.3g}"),
        ("Degrees of freedom", str(line["degrees_of_freedom"])),
        ("Engine version", form["evaluation"]["engine_version"]),
        ("Digest of the inputs", form["evaluation"]["inputs_digest"]),
    ]
