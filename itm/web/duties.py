"""One duty: what is asked, from where, and every cycle of it with its spacing."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.core.figures import day
from itm.records import check_queries
from itm.schedule import queries, wording
from itm.schedule.due import creep, days_missed
from itm.schedule.rules import window_of
from itm.schedule.told import told
from itm.web.editing import site_date
from itm.web.guard import actor_of, signed_in
from itm.web.sites import crumbs_to


@signed_in
@require_GET
def duty(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.duty(actor, key)
    said, window = told(row), window_of(row.requirement)
    turned = queries.cycles_like(actor, row)
    records = [one.done_by_record for one in turned if one.done_by_record]
    checks = check_queries.checks_among(actor, records)
    today = site_date(row.site.time_zone)
    spans = [
        (one.counts_from, one.done_on)
        for one in reversed(turned)
        if one.cause == "periodic" and one.done_on is not None
    ]
    is_open = row.done_on is None and row.withdrawn_on is None
    context = {
        "duty": row,
        "title": said.what,
        "words": row.requirement.words,
        "where": said.where,
        "thing": reverse(said.page, args=[said.key]),
        "when": wording.when(row.requirement, window),
        "stands": queries.standing_of(row, timezone.now()) if is_open else None,
        "cycles": [cycle_row(one, today, checks) for one in turned],
        "creep": creep(window, spans) if window else None,
        "crumbs": [*crumbs_to(row.site), ("What is due", "")],
    }
    return render(request, "programmes/duty.html", context)


def cycle_row(row: Any, today: Any, checks: set[UUID]) -> dict[str, Any]:
    """Spacing in days, days late, and the record that ended it; an inspection ended older cycles
    of the check."""
    spacing = (row.done_on - row.counts_from).days if row.done_on else None
    page = "test" if row.requirement.task == "proportioning_test" else "inspection"
    page = "check" if row.done_by_record in checks else page
    return {
        "row": row,
        "spacing": spacing,
        "late": days_missed(row.latest_on, row.done_on or today),
        "record": reverse(page, args=[row.done_by_record]) if row.done_by_record else "",
        "until": wording.until(row),
        "edition": str(row.requirement.programme),
        "done": day(row.done_on),
    }


urls: list[URLPattern] = [path("duties/<uuid:key>/", duty, name="duty")]
