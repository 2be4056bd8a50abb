"""Trends: all proportioners side by side, and one over the years."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.core.figures import day, percent
from itm.reports.plot import TrendSeries
from itm.trends import queries
from itm.trends.statement import statement
from itm.web.drawing import PAGE_WIDTHS, Widths, drawn_in
from itm.web.guard import actor_of, signed_in
from itm.web.summaries import pdf_links
from itm.web.tables import table_answer, table_paths

NO_BREAK = "\u00a0"


@dataclass(frozen=True)
class Line:
    """One record in the table below a plot, as written on the page."""

    key: UUID
    tested_on: str
    what: str
    percent: str
    interval: str
    limits: str
    certainty: str
    instrument: str
    note: str
    corrected_by: UUID | None


@signed_in
@require_GET
def trends(request: HttpRequest) -> HttpResponse:
    site = request.GET.get("site", "").strip()[:80]
    page = queries.devices(
        actor_of(request), timezone.now(), find=site, page=request.GET.get("page", 1)
    )
    return render(request, "trends/list.html", {"page": page, "site": site})


@signed_in
@require_GET
def trend(request: HttpRequest, key: UUID) -> HttpResponse:
    found = queries.series(actor_of(request), key, timezone.now())
    device = found.proportioner
    system, site = device.system, device.system.site
    papers = pdf_links(lambda size: reverse("trend_pdf", args=[key, size]))
    crumbs = [
        ("Trends", reverse("trends")),
        (site.name, reverse("site", args=[site.key])),
        (system.name, reverse("system", args=[system.key])),
        (device.tag, ""),
    ]
    context = {**shown(found, PAGE_WIDTHS), "papers": papers, "crumbs": crumbs}
    return render(request, "trends/trend.html", context)


def shown(found: queries.Series, widths: Widths) -> dict[str, Any]:
    """What page and sheet say of one proportioner; each plot in every one of the widths."""
    return {
        "series": found,
        "nominal": f"{found.proportioner.nominal_percent.normalize():f}",
        "flow_points": [flow_point(one, found.events, widths) for one in found.flow_points],
        "events": [(day(event.day), event.words, event.detail) for event in found.events],
        "cycles": [cycle(one) for one in found.cycles],
    }


TABLE_HEAD = (
    "Flow point", "Tested on", "Purpose", "Phase", "Percent", "95 % from", "95 % to",
    "Standard uncertainty", "Band from %", "Band to %", "Limits", "Certainty", "Method",
    "Instrument", "Contractor", "Counts", "Note", "Record",
)  # fmt: skip


@signed_in
@require_GET
def trend_table(request: HttpRequest, key: UUID, form: str) -> HttpResponse:
    """What the page says: every result, whether it is in the line or stands beside it, the events,
    and of each flow point what the years say."""
    found = queries.series(actor_of(request), key, timezone.now())
    rows = [cells for one in found.flow_points for cells in table_rows(one)]
    rows += [
        table_words("", event.day.isoformat(), "event", f"{event.words}. {event.detail}".strip())
        for event in found.events
    ]
    for one in found.flow_points:
        said = statement(one, found.events)
        rows += [
            table_words(one.name, "", "what the years say", words)
            for words in (said.sentences if said else ())
        ]
    return table_answer(f"trend-{key}", form, TABLE_HEAD, rows)


def table_rows(one: queries.FlowPointSeries) -> list[tuple[str | float | None, ...]]:
    groups = (
        ("in the line", one.points),
        ("as left", one.as_left),
        ("corrected since", one.corrected),
        ("another method of the same day", one.beside),
    )
    rows = [table_row(one.name, counts, point) for counts, held in groups for point in held]
    return rows + [
        (one.name, paper.tested_on.isoformat(), paper.get_purpose_display(),
         paper.get_phase_display(), float(paper.percent), None, None, None,
         *(float(end) if end is not None else None for end in
           (paper.lower_limit, paper.upper_limit)),
         "", "", paper.get_method_display(), "", paper.done_by, "as an older paper reports",
         paper.outcome, str(paper.key))
        for paper in one.reported
    ]  # fmt: skip


def table_words(name: str, on: str, counts: str, note: str) -> tuple[str | float | None, ...]:
    """A row that is no result."""
    empty: list[str | float | None] = [None] * (len(TABLE_HEAD) - 5)
    return (name, on, *empty, counts, note, "")


def table_row(name: str, counts: str, point: queries.Point) -> tuple[str | float | None, ...]:
    record, result = point.record, point.result
    low, high = result.interval or (None, None)
    return (
        name, point.tested_on.isoformat(), record.purpose,
        "as left" if record.as_left else "as found", result.percent, low, high,
        result.standard_uncertainty, *point.band, result.limits, result.certainty, record.method,
        record.instrument, record.contractor, counts, record.adjusted or record.reason,
        str(record.key),
    )  # fmt: skip


def flow_point(
    one: queries.FlowPointSeries, events: tuple[queries.Event, ...], widths: Widths
) -> dict[str, Any]:
    drawn = TrendSeries(
        name=one.name,
        points=tuple(drawn_point(point) for point in one.points),
        bands=one.bands,
        baseline=(one.baseline.tested_on, one.baseline.result.percent) if one.baseline else None,
        events=tuple((event.day, event.words) for event in events),
        reported=tuple((paper.tested_on, float(paper.percent)) for paper in one.reported),
    )
    told = [*one.points, *one.as_left]
    told.sort(key=lambda point: (point.tested_on, point.record.as_left), reverse=True)
    return {
        "name": one.name,
        "flow": one.flow,
        "figure": drawn_in(drawn, widths),
        "lines": [line(point) for point in told],
        "corrected": [line(point) for point in one.corrected],
        "beside": [line(point) for point in one.beside],
        "bands": [band_words(*band) for band in one.bands],
        "baseline": line(one.baseline) if one.baseline else None,
        "anew": day(one.anew),
        "statement": statement(one, events),
        "reported": [reported_line(paper) for paper in reversed(one.reported)],
    }


def band_words(since: date | None, lower: float, upper: float) -> str:
    words = f"{percent(lower)} to {percent(upper)} %"
    return f"{words} since {day(since)}" if since else words


def drawn_point(point: queries.Point) -> tuple:
    low, high = point.result.interval or (None, None)
    result = point.result
    return (point.tested_on, result.percent, low, high, result.limits, result.certainty, "")


def line(point: queries.Point) -> Line:
    record, result = point.record, point.result
    return Line(
        key=record.key,
        tested_on=day(record.tested_on).replace(" ", NO_BREAK),
        what=f"{record.purpose}, {'as left' if record.as_left else 'as found'}",
        percent=percent(result.percent, point.band),
        interval=" to ".join(percent(end) for end in result.interval) if result.interval else "",
        limits=result.limits,
        certainty=result.certainty,
        instrument=f"{record.instrument}, {record.contractor}",
        note=record.adjusted or record.reason,
        corrected_by=record.corrected_by,
    )


def reported_line(paper: Any) -> dict[str, Any]:
    """As the paper has it; no word of ours about limits."""
    return {
        "key": paper.key,
        "tested_on": day(paper.tested_on).replace(" ", NO_BREAK),
        "what": f"{paper.get_purpose_display()}, {paper.get_phase_display()}",
        "percent": paper.percent_typed,
        "limits": limits_reported(paper),
        "outcome": paper.outcome,
        "method": paper.get_method_display(),
        "paper": ", ".join(filter(None, (paper.done_by, paper.paper))),
    }


def limits_reported(paper: Any) -> str:
    ends = [f"{end.normalize():f}" if end is not None else "" for end in
            (paper.lower_limit, paper.upper_limit)]  # fmt: skip
    if all(ends):
        return f"{ends[0]} to {ends[1]} %"
    return f"from {ends[0]} %" if ends[0] else f"up to {ends[1]} %" if ends[1] else ""


def cycle(turned: queries.TurnedCycle) -> dict[str, str]:
    duty = turned.duty
    late = f"{turned.days_missed} day{'' if turned.days_missed == 1 else 's'} late"
    if turned.tests_missed > 1:
        late += f", {turned.tests_missed} tests missed"
    return {
        "cause": duty.get_cause_display(),
        "counts_from": day(duty.counts_from),
        "due_on": day(duty.due_on),
        "latest_on": day(duty.latest_on),
        "done_on": day(duty.done_on),
        "late": late if turned.days_missed else "",
    }


urls: list[URLPattern] = [
    path("trends/", trends, name="trends"),
    path("trends/<uuid:key>/", trend, name="trend"),
    *table_paths("trends/<uuid:key>/table", trend_table, "trend"),
]  # fmt: skip
