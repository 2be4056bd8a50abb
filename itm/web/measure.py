"""Measure: with what a direct test is measured, and what was read at each flow point."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_http_methods, require_POST

from itm.core.durations import in_words
from itm.core.errors import NotFound
from itm.records import measuring, queries
from itm.records.as_it_stands import record_form
from itm.records.cautions import MEASURE
from itm.records.direct_forms import DEFINITION, MeasuredForm, SetupForm
from itm.records.direct_remarks import direct_remarks
from itm.records.drafts import require_crew, writes_in
from itm.records.remarks import flow_remarks
from itm.reports.content_direct import (
    METHOD_NOTES,
    MeasuredPoint,
    baseline_words,
    measured_with,
    points,
)
from itm.web.guard import actor_of, signed_in
from itm.web.results_page import answers
from itm.web.steps import crumbs, steps


@dataclass(frozen=True)
class Card:
    """One flow point as its card shows it."""

    run: Any
    form: MeasuredForm
    remarks: list[str]
    lasted: str  # the duration in words, so that who typed it sees how it was read
    baseline: str
    point: MeasuredPoint
    answer: dict[str, Any] | None


@signed_in
@require_http_methods(["GET", "POST"])
def measure(request: HttpRequest, key: UUID) -> HttpResponse:
    """The page; posted to, it saves meters or vessel."""
    actor = actor_of(request)
    test = _direct(queries.test(actor, key))
    if request.method == "GET":
        return _page(request, test)
    require_crew(actor, test.visit)
    form = SetupForm(request.POST, actor=actor, row=measuring.setup_of(test))
    if form.is_valid():
        with form.refusals():
            measuring.note_setup(actor=actor, test=test, opened=form.opened, **form.cleaned_data)
            messages.success(request, "Saved.")
            return redirect("measure", key=key)
    return _page(request, test, setup=form)


@signed_in
@require_POST
def run_measured(request: HttpRequest, key: UUID) -> HttpResponse:
    """What was read at one flow point; comes back with its sentences, and nothing typed is lost."""
    actor = actor_of(request)
    run = queries.run(actor, key)
    test = _direct(run.test)
    require_crew(actor, test.visit)
    form = MeasuredForm(request.POST, row=run.direct, method=test.method, auto_id=f"{run.key}_%s")
    if form.is_valid():
        with form.refusals():
            measuring.note_measured(actor=actor, run=run, opened=form.opened, **form.cleaned_data)
            messages.success(request, f"Saved for {run.flow_point.name}.")
            return redirect(f"{reverse('measure', args=[test.key])}#run-{run.key}")
    return _page(request, queries.test(actor, test.key), typed=(run.pk, form))


def _direct(test: Any) -> Any:
    """A bench test has no such page."""
    if not test.is_direct:
        raise NotFound("direct test", test.key)
    return test


def _page(
    request: HttpRequest, test: Any, *, setup: SetupForm | None = None,
    typed: tuple[int, MeasuredForm] | None = None,
) -> HttpResponse:  # fmt: skip
    actor = actor_of(request)
    row = measuring.setup_of(test)
    form, missing = record_form(test)
    found = answers(form) if form["evaluation"] is not None else []
    by_point = dict(zip((run["flow_point"] for run in form["runs"]), found, strict=False))
    measured = {point.name: point for point in points(form)}
    cards = [
        _card(row, run, measured[run.flow_point.name], by_point.get(run.flow_point.name), typed)
        for run in test.runs.all()
    ]
    context = {
        "test": test,
        "setup": setup or SetupForm(actor=actor, row=row),
        "cards": cards,
        "missing": missing,
        "remarks": form["direct"].get("remarks", []),
        "definition": DEFINITION,
        "notes": METHOD_NOTES[test.method],
        "measured_with": measured_with(form),
        "steps": steps(test, "measure"),
        "crumbs": crumbs(test, "Measure"),
        "caution": MEASURE,
        "writes": test.state == "draft" and writes_in(actor, test.visit),
    }
    status = 422 if setup or typed else 200
    return render(request, "visits/measure.html", context, status=status)


def _card(
    setup: Any, run: Any, point: MeasuredPoint, answer: dict[str, Any] | None,
    typed: tuple[int, MeasuredForm] | None,
) -> Card:  # fmt: skip
    run.test = setup.test
    form = (
        typed[1]
        if typed and typed[0] == run.pk
        else MeasuredForm(row=run.direct, method=setup.test.method, auto_id=f"{run.key}_%s")
    )
    return Card(
        run=run,
        form=form,
        remarks=[*flow_remarks(run), *direct_remarks(setup, run)],
        lasted=in_words(run.direct.duration) if run.direct.duration else "",
        baseline=baseline_words(run.direct.foam_name, run.direct.foam_percent),
        point=point,
        answer=answer if answer and answer["percent"] else None,
    )


urls: list[URLPattern] = [
    path("tests/<uuid:key>/measure/", measure, name="measure"),
    path("runs/<uuid:key>/measured/", run_measured, name="run_measured"),
]
