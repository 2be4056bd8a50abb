"""The bench of a test: recipe, bottles, readings."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from itm.core.errors import Refused
from itm.intake.take import Entry, take_readings
from itm.records import bench as services
from itm.records.bench_forms import USUAL_REASONS, BenchForm, ReasonForm, StandardForm
from itm.records.bench_sheet import Sheet, sheet
from itm.records.cautions import BENCH
from itm.records.drafts import require_crew
from itm.records.evaluate import Preview, preview
from itm.records.judging import edges_of
from itm.records.merge import Crossed
from itm.records.pouring import set_amounts
from itm.records.remarks import instrument_remarks
from itm.records.weighing import UNIT, is_weighed, known_densities, weighed_remarks
from itm.registry.book import lines_of
from itm.registry.contents import as_of
from itm.web.bench_page import (
    MOST_ENTRIES,
    entries_in,
    groups,
    limits_of_entry,
    pours,
)
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.photographs import photos_by_thing
from itm.web.steps import crumbs, steps


@signed_in
@require_http_methods(["GET", "POST"])
def bench(request: HttpRequest, key: UUID) -> HttpResponse:
    """GET shows the bench; POST saves every filled reading that can be one."""
    actor = actor_of(request)
    found = sheet(actor, key)
    if request.method == "GET":
        return _page(request, found)
    entries = entries_in(request.POST, found)
    taken = take_readings(actor=actor, sheet=found, entries=entries, at=timezone.now())
    if taken.saved:
        count = len(taken.saved)
        messages.success(request, f"{count} reading{'s'[: count > 1]} saved as typed.")
    saved = {reading.key for reading in taken.saved}
    kept = [e for e in entries if e.key not in saved and (e.value_typed or e.temperature_typed)]
    if not kept:
        if not taken.saved:
            messages.info(request, "Nothing was typed, so nothing was saved.")
        return redirect(f"{reverse('bench', args=[key])}{_query(request)}")
    wrong = {problem.place: problem.sentence for problem in taken.problems}
    status = 422 if wrong else 200
    return _page(request, sheet(actor, key), kept=kept, wrong=wrong, status=status)


@signed_in
@require_POST
def set_out(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    made = services.set_out(actor=actor, test=sheet(actor, key).test)
    labels = ", ".join(bottle.label for bottle in made)
    messages.success(request, f"On the bench now: {labels}." if made else "All was there already.")
    return redirect("bench", key=key)


@signed_in
@require_http_methods(["GET", "POST"])
def bench_note(request: HttpRequest, key: UUID) -> HttpResponse:
    """Water, glassware and whatever else a reader of the readings has to know."""
    actor = actor_of(request)
    found = sheet(actor, key)
    require_crew(actor, found.test.visit)
    there = reverse("bench", args=[key])
    form = BenchForm(request.POST or None, row=found.bench)
    return edit(
        request, form=form, title="How the bench was read", template="visits/form.html",
        said="Noted.",
        write=lambda: services.change_bench(
            actor=actor, bench=found.bench, opened=form.opened, **form.cleaned_data
        ),
        lead=f"Bench of {found.test.proportioner.tag}. It stands in the record and on the report.",
        to=lambda _: there, back=there, crumbs=[*crumbs(found.test), ("Bench", there)],
    )  # fmt: skip


@signed_in
@require_POST
def system_water(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    made = services.add_system_water(actor=actor, bench=sheet(actor, key).bench)
    messages.success(request, f"On the bench now: {made.label}. Read it beside the test water.")
    return redirect(f"{reverse('bench', args=[key])}#bottle-{made.key}")


@signed_in
@require_POST
def standard_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    found = sheet(actor, key)
    form = StandardForm(request.POST)
    if form.is_valid():
        try:
            made = services.add_standard(
                actor=actor, bench=found.bench, target_percent=form.cleaned_data["target_percent"]
            )
        except Refused as refusal:
            form.add_error("target_percent", refusal.sentence)
        else:
            messages.success(request, f"{made.label} is on the bench; write down what you pour.")
            return redirect("bench", key=key)
    return _page(request, found, standard_form=form, status=422)


@signed_in
@require_POST
def volumes(request: HttpRequest, key: UUID) -> HttpResponse:
    """Save the amounts that were changed here; a wrong pair comes back with its sentence."""
    actor = actor_of(request)
    found = sheet(actor, key)
    typed: dict[str, str] = {}
    wrong: dict[str, str] = {}
    changed = 0
    for bottle in (stand.bottle for stand in found.standards):
        for pair in UNIT:
            names = tuple(f"{what}-{bottle.key}" for what in pair)
            if names[0] not in request.POST:
                continue
            concentrate, water = (request.POST.get(name, "").strip()[:20] for name in names)
            opened = tuple(request.POST.get(f"was-{name}", "") for name in names)
            try:
                set_amounts(
                    actor=actor, bottle=bottle, pair=pair, entered=(concentrate, water),
                    opened=(opened[0], opened[1]),
                )  # fmt: skip
            except Refused as refusal:
                wrong[f"{refusal.place or pair[0]}-{bottle.key}"] = refusal.sentence
            except Crossed as crossed:
                wrong |= {f"{place}-{bottle.key}": text for place, text in crossed.places.items()}
            else:
                changed += (concentrate, water) != opened
                continue
            typed |= dict(zip(names, (concentrate, water), strict=True))
    if changed:
        messages.success(request, f"What went into {changed} standard{'s'[: changed > 1]} saved.")
    if not wrong:
        return redirect("bench", key=key)
    return _page(request, sheet(actor, key), typed=typed, wrong=wrong, status=422)


@signed_in
@require_http_methods(["GET", "POST"])
def reading_aside(request: HttpRequest, key: UUID, reading: UUID) -> HttpResponse:
    """Set a reading aside with its reason, or look at why it was."""
    actor = actor_of(request)
    found = sheet(actor, key)
    stand, row = found.find(reading)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with form.refusals():
            services.set_aside(
                actor=actor, reading=row, reason=form.cleaned_data["reason"], at=timezone.now()
            )
            messages.success(
                request,
                f"{row.value_typed} of {stand.bottle.label} is set aside; it stays on the record.",
            )
            return redirect("bench", key=key)
    closed = found.closed if stand.bottle.run_id else found.shared_closed
    context = {
        "test": found.test, "stand": stand, "reading": row, "form": form, "closed": closed,
        "reasons": USUAL_REASONS, "crumbs": crumbs(found.test, "Set aside a reading"),
    }  # fmt: skip
    return render(request, "bench/aside.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def reading_back(request: HttpRequest, key: UUID, reading: UUID) -> HttpResponse:
    actor = actor_of(request)
    _, row = sheet(actor, key).find(reading)
    services.take_back_aside(actor=actor, reading=row)
    messages.success(request, f"{row.value_typed} counts again.")
    return redirect("bench", key=key)


@signed_in
@require_http_methods(["GET", "POST"])
def standard_withdraw(request: HttpRequest, key: UUID, bottle: UUID) -> HttpResponse:
    actor = actor_of(request)
    found = sheet(actor, key)
    stand = found.stand(bottle)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with form.refusals():
            services.withdraw_standard(
                actor=actor, bottle=stand.bottle, reason=form.cleaned_data["reason"]
            )
            messages.success(request, f"{stand.bottle.label} is withdrawn.")
            return redirect("bench", key=key)
    context = {
        "test": found.test, "stand": stand, "form": form,
        "crumbs": crumbs(found.test, "Withdraw a standard"),
    }  # fmt: skip
    return render(request, "bench/withdraw.html", context, status=422 if form.errors else 200)


def _query(request: HttpRequest) -> str:
    entries = request.GET.get("entries", "")
    return f"?entries={entries}" if entries in ("2", "3") else ""


def _page(
    request: HttpRequest,
    found: Sheet,
    *,
    kept: Sequence[Entry] = (),
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
    standard_form: StandardForm | None = None,
    status: int = 200,
) -> HttpResponse:
    entries = request.GET.get("entries", "1")
    count = min(int(entries), MOST_ENTRIES) if entries in ("1", "2", "3") else 1
    so_far = preview(found.test) if not found.closed else None
    photos = photos_by_thing(actor_of(request), found.test.visit)
    shown = groups(found, kept, wrong or {}, count, photos)
    context = {
        "sheet": found,
        "test": found.test,
        "bench": found.bench,
        "instrument": found.bench.instrument,
        "remarks": instrument_remarks(found.test),
        **_on_density(request, found),
        "groups": shown,
        "open": any(line.cells for group in shown for line in group.lines),
        "missing": not (found.water and found.standards and found.concentrate),
        "pours": pours(found, typed or {}, wrong or {}),
        "wrong": wrong or {},
        "entry": limits_of_entry(found),
        "entries": count,
        "so_far": so_far,
        "standard_form": standard_form or StandardForm(),
        "crumbs": crumbs(found.test, "Bench"),
        "steps": steps(found.test, "bench"),
        "caution": BENCH,
        "points": points_so_far(found.test, so_far) if so_far else [],
    }
    return render(request, "bench/bench.html", context, status=status)


def _on_density(request: HttpRequest, found: Sheet) -> dict[str, list[str]]:
    """What is known and what is odd of the density; asked for only where standards are weighed."""
    bench, on = found.bench, found.test.tested_on
    if not bench.weighs and not any(is_weighed(stand.bottle) for stand in found.standards):
        return {}
    return {
        "on_density": weighed_remarks(bench, as_of(lines_of(bench.tank), on)),
        "known": known_densities(actor_of(request), bench, on),
    }


def points_so_far(test: Any, so_far: Preview) -> list[dict[str, Any]]:
    """Each flow point with the limits that its percent must not be rounded across."""
    edges = (float(test.band_lower), float(test.band_upper))
    points = so_far.result["flow_points"] if so_far.result else []
    return [{**point, "edges": edges_of(point, edges)} for point in points]


urls: list[URLPattern] = [
    path("tests/<uuid:key>/bench/", bench, name="bench"),
    path("tests/<uuid:key>/bench/note/", bench_note, name="bench_note"),
    path("tests/<uuid:key>/bench/bottles/", set_out, name="bench_set_out"),
    path("tests/<uuid:key>/bench/system-water/", system_water, name="bench_system_water"),
    path("tests/<uuid:key>/bench/standards/new/", standard_new, name="standard_new"),
    path("tests/<uuid:key>/bench/volumes/", volumes, name="bench_volumes"),
    path(
        "tests/<uuid:key>/bench/standards/<uuid:bottle>/withdraw/",
        standard_withdraw,
        name="standard_withdraw",
    ),
    path(
        "tests/<uuid:key>/bench/readings/<uuid:reading>/aside/",
        reading_aside,
        name="reading_aside",
    ),
    path("tests/<uuid:key>/bench/readings/<uuid:reading>/back/", reading_back, name="reading_back"),
]
