"""Discharge and the stop: buttons that stamp, one card for each flow point."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.core.errors import Conflict, Refused
from itm.core.figures import instant
from itm.records import discharge as services
from itm.records import queries
from itm.records.cautions import DISCHARGE, STOP
from itm.records.circumstances import in_force
from itm.records.drafts import require_crew, writes_in
from itm.records.forms import HandTimeForm, RunForm, WithdrawForm
from itm.records.ordering import foam_order, sample_order, stopped_at
from itm.records.outlets import told
from itm.records.progress import samples_of
from itm.records.remarks import run_remarks, sample_remark
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.photographs import photos_by_thing
from itm.web.steps import crumbs, steps


@dataclass(frozen=True)
class Sample:
    bottle: Any
    at: str
    after: str
    remark: str


@dataclass(frozen=True)
class Card:
    """One flow point as its card shows it."""

    run: Any
    foam_at: str
    foam_age: int | None  # s, by the server's clock; the phone's may be wrong
    samples: list[Sample]
    withdrawn: list[Any]
    remarks: list[str]
    outlets: list[str]
    form: Any
    by_hand: Any
    photos: list[tuple[str, str]] = field(default_factory=list)  # addresses


def card_of(run: Any, *, form: Any = None, by_hand: Any = None) -> Card:
    zone = run.test.site.time_zone
    samples, now = samples_of(run), timezone.now()
    foam = run.foam_seen_at
    stopped = stopped_at(step.done_at for step in run.test.flush_steps.all())
    order = foam_order(run.test.visit.started_at, foam, zone)
    return Card(
        run=run,
        foam_at=clock(foam, zone),
        foam_age=int((now - foam).total_seconds()) if foam else None,
        samples=[_sample(run, bottle, zone, stopped) for bottle in samples],
        withdrawn=[bottle for bottle in run.bottles.all() if bottle.withdrawn_reason],
        remarks=[*run_remarks(run, samples), *([order] if order else [])],
        outlets=[told(outlet) for outlet in run.outlets],
        form=form or RunForm(row=run, auto_id=f"{run.key}_%s"),
        by_hand=by_hand or HandTimeForm(zone=zone, now=now, auto_id=f"{run.key}_%s"),
    )


def _sample(run: Any, bottle: Any, zone: str, stopped: datetime | None) -> Sample:
    foam, taken = run.foam_seen_at, bottle.taken_at
    after = f"{int((taken - foam).total_seconds())} s" if foam and taken else ""
    order = sample_order(
        taken, started_at=run.test.visit.started_at, stopped_at=stopped,
        read_at=[one.read_at for one in in_force(bottle)], zone=zone,
    )  # fmt: skip
    return Sample(bottle, clock(taken, zone), after, order or sample_remark(foam, taken))


def clock(at: datetime | None, zone: str) -> str:
    """Hours, minutes and seconds on the site's clock."""
    return "" if at is None else f"{at.astimezone(ZoneInfo(zone)):%H:%M:%S}"


@signed_in
@require_GET
def discharge(request: HttpRequest, key: UUID) -> HttpResponse:
    return _page(request, queries.test(actor_of(request), key))


def _page(request: HttpRequest, test: Any, *, changed: Card | None = None) -> HttpResponse:
    cards = [
        changed if changed is not None and changed.run.pk == run.pk else card_of(run)
        for run in test.runs.all()
    ]
    photos = photos_by_thing(actor_of(request), test.visit)
    cards = [replace(card, photos=photos.get(card.run.key, [])) for card in cards]
    context = {
        "test": test, "cards": cards, "steps": steps(test, "discharge"),
        "caution": DISCHARGE, "crumbs": crumbs(test, "Discharge"),
        "here": instant(timezone.now(), test.site.time_zone), **_may(request, test),
    }  # fmt: skip
    status = 422 if changed is not None else 200
    return render(request, "visits/discharge.html", context, status=status)


def _may(request: HttpRequest, test: Any) -> dict[str, bool]:
    crew = writes_in(actor_of(request), test.visit)
    return {"writes": crew and test.state == "draft", "started": test.visit.started_at is not None}


@signed_in
@require_POST
def run_note(request: HttpRequest, key: UUID) -> HttpResponse:
    """What was measured; comes back with its sentences, and nothing typed is lost."""
    actor = actor_of(request)
    run = queries.run(actor, key)
    require_crew(actor, run.test.visit)
    form = RunForm(request.POST, row=run, auto_id=f"{run.key}_%s")
    if form.is_valid():
        with form.refusals():
            services.note_run(actor=actor, run=run, opened=form.opened, **form.cleaned_data)
            messages.success(request, f"Saved for {run.flow_point.name}.")
            return _to_card(run)
    return _page(request, queries.test(actor, run.test.key), changed=card_of(run, form=form))


@signed_in
@require_POST
def run_foam(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    return _stamp(request, key, lambda run, at: services.foam_seen(actor=actor, run=run, at=at))


@signed_in
@require_POST
def run_foam_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    return _stamp(request, key, lambda run, _: services.take_back_foam(actor=actor, run=run))


@signed_in
@require_POST
def run_sample(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    shown = request.POST.get("seen", "")
    seen = int(shown) if shown.isascii() and shown.isdigit() and len(shown) < 4 else None
    return _stamp(
        request, key, lambda run, at: services.add_sample(actor=actor, run=run, at=at, seen=seen)
    )


def _stamp(
    request: HttpRequest, key: UUID, deed: Callable[[Any, datetime], object]
) -> HttpResponse:
    """Stamp now, or at the time typed by hand. A page with script gets that part alone."""
    now = timezone.now()
    actor = actor_of(request)
    run = queries.run(actor, key)
    require_crew(actor, run.test.visit)
    at, said = now, ""
    if "at" in request.POST:
        form = HandTimeForm(
            request.POST, zone=run.test.site.time_zone, now=now, auto_id=f"{run.key}_%s"
        )
        if not form.is_valid():
            test = queries.test(actor, run.test.key)
            return _page(request, test, changed=card_of(run, by_hand=form))
        at = form.cleaned_data["at"]
    try:
        deed(run, at)
    except (Conflict, Refused) as refusal:
        said = refusal.sentence
    if not request.htmx:  # type: ignore[attr-defined]
        if said:
            messages.error(request, said)
        return _to_card(run)
    run = queries.run(actor, key)
    context = {"card": card_of(run), "said": said, **_may(request, run.test)}
    answer = render(request, "visits/stamps.html", context, status=409 if said else 200)
    patch_vary_headers(answer, ["HX-Request"])
    return answer


def _to_card(run: Any) -> HttpResponse:
    return redirect(f"{reverse('discharge', args=[run.test.key])}#run-{run.key}")


@signed_in
@require_http_methods(["GET", "POST"])
def sample_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    bottle = queries.sample(actor, key)
    run = bottle.run
    test = run.test
    require_crew(actor, test.visit)
    form = WithdrawForm(request.POST or None)
    back = f"{reverse('discharge', args=[test.key])}#run-{run.key}"
    return edit(
        request, form=form, title=f"Withdraw sample {bottle.label}", template="visits/form.html",
        write=lambda: services.withdraw_sample(actor=actor, bottle=bottle, **form.cleaned_data),
        to=lambda _: back, back=back, save="Withdraw it", said="Sample {} is withdrawn.",
        lead="It stays in the history and its label is not used again.",
        crumbs=[*crumbs(test), ("Discharge", reverse("discharge", args=[test.key]))],
    )  # fmt: skip


@signed_in
@require_POST
def sample_bring_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    bottle = queries.sample(actor, key)
    services.bring_back_sample(actor=actor, bottle=bottle)
    messages.success(request, f"Sample {bottle.label} counts again.")
    return _to_card(bottle.run)


@signed_in
@require_GET
def flush(request: HttpRequest, key: UUID) -> HttpResponse:
    test = queries.test(actor_of(request), key)
    rows = list(test.flush_steps.all())
    todo = [row for row in rows if row.done_at is None]
    done = [row for row in rows if row.done_at is not None]
    context = {
        "test": test,
        "rows": [(row, clock(row.done_at, test.site.time_zone)) for row in rows],
        "next": todo[0] if todo else None,
        "last": done[-1] if done else None,
        "steps": steps(test, "flush"),
        "caution": STOP,
        "crumbs": crumbs(test, "Stop and flush"),
        **_may(request, test),
    }
    return render(request, "visits/flush.html", context)


@signed_in
@require_POST
def flush_done(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    step = queries.flush_step(actor, key)
    try:
        services.flush_done(actor=actor, step=step, at=timezone.now())
    except (Conflict, Refused) as refusal:
        messages.error(request, refusal.sentence)
    return redirect("flush", key=step.test.key)


@signed_in
@require_POST
def flush_undone(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    step = queries.flush_step(actor, key)
    try:
        services.flush_undone(actor=actor, step=step)
        messages.success(request, f"Taken back: {step.text}.")
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    return redirect("flush", key=step.test.key)


urls: list[URLPattern] = [
    path("tests/<uuid:key>/discharge/", discharge, name="discharge"),
    path("runs/<uuid:key>/", run_note, name="run_note"),
    path("runs/<uuid:key>/foam/", run_foam, name="run_foam"),
    path("runs/<uuid:key>/foam/back/", run_foam_back, name="run_foam_back"),
    path("runs/<uuid:key>/samples/", run_sample, name="run_sample"),
    path("samples/<uuid:key>/withdraw/", sample_withdraw, name="sample_withdraw"),
    path("samples/<uuid:key>/back/", sample_bring_back, name="sample_bring_back"),
    path("tests/<uuid:key>/flush/", flush, name="flush"),
    path("flush-steps/<uuid:key>/done/", flush_done, name="flush_done"),
    path("flush-steps/<uuid:key>/back/", flush_undone, name="flush_undone"),
]
