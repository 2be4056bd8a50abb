"""A filled field sheet is typed in: the whole day on one page, in the sheet's order."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.core.clock import FIRST_MOMENT, date_at
from itm.core.figures import day as in_words
from itm.doors.day import day_of
from itm.doors.entries import MOST_ENTRIES, take
from itm.doors.filled_sheet import Sheet
from itm.doors.sheet_lines import answered
from itm.records import queries
from itm.records.drafts import require_crew
from itm.web.guard import actor_of, signed_in
from itm.web.visits import to_visit

LONGEST = 2000


@signed_in
@require_http_methods(["GET", "POST"])
def type_in(request: HttpRequest, key: UUID) -> HttpResponse:
    """Each line is saved or handed back with its sentence; what was typed stays on the page."""
    actor = actor_of(request)
    visit = queries.visit(actor, key)
    require_crew(actor, visit)
    if request.method == "GET":
        return _page(request, visit, Sheet(day_of(actor, key)).parts())
    posted = {name: str(value)[:LONGEST] for name, value in request.POST.items()}
    now = timezone.now()
    before = Sheet(day_of(actor, key), posted)
    on, wrong_day = _day(posted.get("day", ""), visit, now)
    entries, wrong = before.entries(on, now)
    if wrong_day:
        return _page(request, visit, before.parts(), wrong_day=wrong_day, posted=posted)
    answers = {
        answer.key: answer
        for start in range(0, len(entries), MOST_ENTRIES)
        for answer in take(
            actor=actor, entries=entries[start : start + MOST_ENTRIES], device_now=None, at=now
        )
    }
    taken = sum(answer.taken for answer in answers.values())
    if taken:
        messages.success(request, f"{taken} line{'s'[: taken > 1]} saved.")
    if not wrong and taken == len(answers):
        if not answers:
            messages.info(request, "Nothing new was typed, so nothing was saved.")
        return redirect("type_in", key=key)
    # What was taken is read anew; what was not keeps its text.
    saved = {key for key, answer in answers.items() if answer.taken}
    kept = _without(posted, before, saved)
    parts = answered(Sheet(day_of(actor, key), kept).parts(), answers, wrong)
    return _page(request, visit, parts, posted=posted)


def _without(posted: dict[str, str], sheet: Sheet, saved: set[str]) -> dict[str, str]:
    """The texts of lines that were taken are the server's now."""
    names = {line.name for part in sheet.parts() for line in part.lines if line.key in saved}
    return {
        name: value
        for name, value in posted.items()
        if ".".join(name.split(".")[:2]) not in names
    }  # fmt: skip


def _day(text: str, visit: Any, now: datetime) -> tuple[date, str]:
    """The day that stands on the sheet. A plan may be of a day to come, and no sheet is."""
    try:
        on = date.fromisoformat(text.strip()) if text.strip() else visit.planned_on
    except ValueError:
        sentence = f"“{text[:20]}” is no day: write year, month and day, for example 2026-11-30."
        return visit.planned_on, sentence
    today = date_at(visit.site.time_zone, now)
    if not FIRST_MOMENT.date() < on <= today:
        sentence = (
            f"{in_words(on)} cannot be the day of a sheet that is typed in on {in_words(today)}: "
            "write the day that stands on it."
        )
        return visit.planned_on, sentence
    return on, ""


def _page(
    request: HttpRequest, visit: Any, parts: list[Any], *, wrong_day: str = "",
    posted: dict[str, str] | None = None,
) -> HttpResponse:  # fmt: skip
    wrong = [line for part in parts for line in part.lines if line.wrong]
    context = {
        "visit": visit,
        "planned": in_words(visit.planned_on),
        "day": (posted or {}).get("day") or visit.planned_on.isoformat(),
        "wrong_day": wrong_day,
        "parts": parts,
        "wrong": wrong,
        "tests": queries.visit_tests(actor_of(request), visit),
        "crumbs": [*to_visit(visit), ("Type in a sheet", "")],
    }
    status = 422 if wrong or wrong_day else 200
    return render(request, "visits/type_in.html", context, status=status)


urls: list[URLPattern] = [path("visits/<uuid:key>/type-in/", type_in, name="type_in")]
