"""Paper for a test day: the blank field sheet, labels for the bottles, and where a label leads."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from itm.doors.blank_sheets import LABEL, field_sheet, label_sheet
from itm.doors.sample_labels import SAMPLES
from itm.records import queries
from itm.records.bench_sheet import sheet
from itm.records.drafts import require_crew
from itm.reports.choices import SIZES
from itm.web.guard import actor_of, signed_in
from itm.web.visits import to_visit

SHEETS: dict[str, Callable[..., bytes]] = {"field-sheet": field_sheet, "labels": label_sheet}


@signed_in
@require_GET
def paper(request: HttpRequest, key: UUID) -> HttpResponse:
    """What can be printed for a visit, and on which paper."""
    actor = actor_of(request)
    visit = queries.visit(actor, key)
    require_crew(actor, visit)
    drafts = [test for test in queries.visit_tests(actor, visit) if test.state == "draft"]
    context = {
        "visit": visit,
        "sizes": SIZES.items(),
        "label": LABEL,
        "samples": SAMPLES,
        "prepared": bool(drafts),
        "bottles": any(not test.is_direct for test in drafts),
        "crumbs": [*to_visit(visit), ("Paper", "")],
    }
    return render(request, "visits/paper.html", context)


@signed_in
@require_GET
def paper_pdf(request: HttpRequest, key: UUID, what: str, size: str) -> HttpResponse:
    """Made at once and kept by nobody."""
    actor = actor_of(request)
    visit = queries.visit(actor, key)
    require_crew(actor, visit)
    made = SHEETS[what](actor, key, size=size)
    name = f"{slugify(f'{what} {visit.site.name} {visit.planned_on}')}.pdf"
    answer = HttpResponse(made, content_type="application/pdf")
    answer["Content-Disposition"] = content_disposition_header(False, name) or "inline"
    answer["Cache-Control"] = "private, no-store"
    return answer


@signed_in
@require_GET
def bottle_at(request: HttpRequest, key: UUID, label: str) -> HttpResponse:
    """Where the code on a label leads: to the row of that bottle on the bench, once it stands. The
    code names its test, so a bottle of another one of the same bench is not taken for it."""
    found = sheet(actor_of(request), key)
    bench = reverse("bench", args=[key])
    for stand in found.stands:
        if stand.bottle.label == label:
            return redirect(f"{bench}#bottle-{stand.bottle.key}")
    others = found.bench.bottles.filter(label=label).exclude(run=None)
    other: Any = others.exclude(run__test=found.test).select_related("run__test").first()
    if other is not None:
        test = other.run.test
        sentence = (
            f"On this bench “{label[:40]}” is a sample of {test.proportioner.tag}, "
            f"{test.get_phase_display()}, not of this test. Look at what is written on the bottle "
            "by hand, and read it as that one."
        )
    else:
        sentence = (
            f"There is no bottle “{label[:40]}” on this bench yet: a sample stands there from the "
            "moment it is stamped, water and standards when the bench is set out."
        )
    messages.warning(request, sentence)
    return redirect(bench)


urls: list[URLPattern] = [
    path("visits/<uuid:key>/paper/", paper, name="paper"),
    *(
        path(
            f"visits/<uuid:key>/paper/{what}-<slug:size>.pdf",
            paper_pdf, {"what": what}, name=f"{what.replace('-', '_')}_pdf",
        )
        for what in SHEETS
    ),
    path("tests/<uuid:key>/bottles/<str:label>/", bottle_at, name="bottle_at"),
]  # fmt: skip
