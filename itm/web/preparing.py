"""Prepare: choose the proportioner, then the test with its bench; what of it is frozen."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from itm.actions.prepare_test import prepare_test
from itm.core.figures import day, percent
from itm.records import preparing, queries
from itm.records.cautions import PREPARE
from itm.records.drafts import require_begin, require_crew, writes_in
from itm.records.forms import BENCH, TestEditForm, TestForm
from itm.records.judging import edges_of
from itm.records.remarks import remarks_on
from itm.records.rule import band_text, baseline_sentence, frozen_rule, frozen_words
from itm.registry.criteria import COMMON, band_of
from itm.reports.content_direct import METHOD_NOTES
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.steps import crumbs, steps
from itm.web.visits import own, to_visit


@signed_in
@require_http_methods(["GET", "POST"])
def test_new(request: HttpRequest, key: UUID) -> HttpResponse:
    """First which proportioner, then what is tested and with what."""
    actor = actor_of(request)
    visit = own(actor, key)
    require_begin(actor, visit)
    devices = list(queries.proportioners_at(actor, visit.site))
    wanted = request.POST.get("proportioner") or request.GET.get("proportioner")
    device = next((d for d in devices if str(d.key) == wanted), None)
    if device is None:
        context = {
            "visit": visit, "devices": devices,
            "crumbs": [*to_visit(visit), ("Prepare a test", "")],
        }  # fmt: skip
        return render(request, "visits/choose.html", context)
    rule = frozen_rule(device, site_date(visit.site.time_zone))
    previous = queries.previous_results(actor, device)
    asked = request.POST.get("method") or request.GET.get("method") or ""
    method = asked if asked in dict(queries.METHODS) else BENCH
    form = TestForm(
        request.POST or None, actor=actor, visit=visit, proportioner=device, rule=rule,
        previous=previous, method=method,
    )  # fmt: skip
    again = f"{reverse('test_new', args=[key])}?proportioner={device.key}"

    def write() -> Any:
        test = prepare_test(
            actor=actor, visit=visit, proportioner=device, at=timezone.now(), **form.prepared()
        )
        for remark in remarks_on(test):
            messages.warning(request, remark)
        return test

    return edit(
        request, form=form, title=f"Prepare a test of {device.tag}", save="Prepare this test",
        template="visits/test_new.html", write=write, visit=visit, device=device, rule=rule,
        to=lambda test: reverse("test_prepare", args=[test.key]), again=again,
        back=reverse("visit", args=[key]), said="Prepared: {}.", crumbs=to_visit(visit),
        previous=results(previous), caution=PREPARE,
        band=band_text(rule.band.lower, rule.band.upper),
        missing=baseline_sentence(rule.missing) if rule.missing else "", common=_common(device),
        method=method, notes=METHOD_NOTES.get(method, ()),
        methods=[(f"{again}&method={one}", label, one) for one, label in queries.METHODS],
    )  # fmt: skip


def results(previous: Sequence[queries.Previous]) -> list[dict[str, Any]]:
    """Earlier results as they stand beside a new one."""
    out = []
    for result in previous:
        edges = (float(result.test.band_lower), float(result.test.band_upper))
        points = [
            {
                "name": point["name"],
                "percent": percent(point["percent"], edges_of(point, edges)),
                "limits": point["limits"],
                "certainty": point["certainty"],
            }
            for point in result.flow_points
        ]
        out.append({"on": day(result.tested_on), "test": result.test, "points": points})
    return out


@signed_in
@require_http_methods(["GET", "POST"])
def test_prepare(request: HttpRequest, key: UUID) -> HttpResponse:
    """What was prepared: the frozen facts, and the few that can change while it is a draft."""
    actor = actor_of(request)
    test = queries.test(actor, key)
    crew = writes_in(actor, test.visit)
    if request.method == "POST":
        require_crew(actor, test.visit)
    form = TestEditForm(request.POST or None, row=test)
    if test.is_direct:
        del form.fields["correct_temperatures"]
    if test.phase != "as_left":
        del form.fields["adjusted"]
    run = {r.flow_point_id for r in test.runs.all()}
    points = queries.flow_points_of(test.proportioner)
    writes = crew and test.state == "draft"
    context: dict[str, Any] = {
        "test": test, "steps": steps(test, "prepare"), "writes": writes,
        "not_run": [p for p in points if p.pk not in run] if writes else [],
        "band": band_text(test.band_lower, test.band_upper), "own": own_limits(test),
        "criterion": frozen_words(test),
        "previous": results(queries.previous_results(actor, test.proportioner)),
        "remarks": remarks_on(test), "tested_on": day(test.tested_on),
        "started": test.visit.started_at is not None,
    }  # fmt: skip
    here = reverse("test_prepare", args=[key])
    return edit(
        request, form=form, title=f"Prepared: {test.proportioner.tag}", save="Save",
        template="visits/prepared.html",
        write=lambda: preparing.change_test(
            actor=actor, test=test, opened=form.opened, **form.cleaned_data
        ),
        to=lambda _: here, back=reverse("visit", args=[test.visit.key]), said="Saved.",
        crumbs=crumbs(test), **context,
    )  # fmt: skip


def own_limits(test: Any) -> list[dict[str, str]]:
    """Of each flow point, where the criterion compares it with its acceptance test."""
    return [
        {
            "name": run.flow_point.name,
            "band": band_text(run.band_lower, run.band_upper),
            "baseline": f"{run.baseline_percent.normalize():f} % in the {run.baseline_source}",
        }
        for run in test.runs.all()
        if run.band_lower is not None
    ]


def _common(device: Any) -> str:
    band = band_of(COMMON, device.nominal_percent)
    return band_text(band.lower, band.upper)


@signed_in
@require_POST
def run_add(request: HttpRequest, key: UUID, point: UUID) -> HttpResponse:
    """A flow point that was left out is run after all."""
    actor = actor_of(request)
    test = queries.test(actor, key)
    row = queries.flow_point(test.proportioner, point)
    preparing.add_run(actor=actor, test=test, flow_point=row)
    messages.success(request, f"{row.name} will be run.")
    return redirect("test_prepare", key=key)


urls: list[URLPattern] = [
    path("visits/<uuid:key>/tests/new/", test_new, name="test_new"),
    path("tests/<uuid:key>/prepare/", test_prepare, name="test_prepare"),
    path("tests/<uuid:key>/prepare/<uuid:point>/", run_add, name="run_add"),
]
