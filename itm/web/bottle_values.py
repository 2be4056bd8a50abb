"""What was measured of one bottle: every property on one sheet, and what is set aside."""

import uuid
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from itm.core.errors import Conflict, Refused
from itm.intake.concentrate import FIELDS
from itm.intake.take_values import ValueEntry, take_values
from itm.records import check_queries as queries
from itm.records import checking
from itm.records.check_forms import MeasuredForm, WhyForm
from itm.records.check_limits import certificate_beside, limits_beside
from itm.registry.properties import KNOWN, PROPERTIES
from itm.web.bottles import require_draft, to_check
from itm.web.checks import crumbs
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in

ORIGINS = (("own", "measured by us"), ("laboratory", "from the laboratory’s report"))


@dataclass(frozen=True)
class Line:
    """One property of the sheet: what stands there, or where to enter it."""

    name: str
    words: str
    units: tuple[str, ...]
    example: str
    limits: list[tuple[str, str]]
    certificate: str
    stands: Any  # the value in force, or None
    entry: ValueEntry
    problem: str = ""
    temperature_problem: str = ""


@signed_in
@require_http_methods(["GET", "POST"])
def bottle_values(request: HttpRequest, key: UUID) -> HttpResponse:
    """Every property on one sheet; each line that can be a value is saved, the rest handed back."""
    actor = actor_of(request)
    sample = queries.sample(actor, key)
    row = queries.check(actor, sample.concentrate_check.key)
    require_draft(request, row)
    origin = request.POST.get("origin", "")
    origin = origin if origin in dict(ORIGINS) else _usual_origin(sample)
    if request.method == "GET":
        return _sheet(request, row, sample, origin)
    measured = MeasuredForm(request.POST)
    if not measured.is_valid():
        return _sheet(request, row, sample, origin, _entries(request), form=measured, status=422)
    entries = _entries(request, **measured.cleaned_data)
    try:
        taken = take_values(
            actor=actor, sample=sample, entries=entries, origin=origin, at=timezone.now()
        )
    except (Refused, Conflict) as refusal:
        messages.error(request, refusal.sentence)
        return _sheet(request, row, sample, origin, entries, form=measured, status=422)
    if count := len(taken.saved):
        messages.success(request, f"{count} value{'s'[: count != 1]} saved as typed.")
    if taken.problems:
        wrong = {problem.place: problem.sentence for problem in taken.problems}
        if "measured_on" in wrong:
            measured.add_error("measured_on", wrong.pop("measured_on"))
        sample = queries.sample(actor, key)
        return _sheet(request, row, sample, origin, entries, wrong, form=measured, status=422)
    if not taken.saved:
        messages.info(request, "Nothing was typed, so nothing was saved.")
    return redirect(to_check(row))


def _usual_origin(sample: Any) -> str:
    return "laboratory" if sample.report_id or sample.sent_on else "own"


def _entries(request: HttpRequest, **measured: Any) -> list[ValueEntry]:
    def typed(part: str, name: str) -> str:
        return request.POST.get(f"{part}-{name}", "")[:40]

    out = []
    for known in KNOWN:
        try:
            key = UUID(typed("key", known.name))
        except ValueError:
            key = uuid.uuid4()
        unit = typed("unit", known.name) if len(known.units) > 1 else known.unit
        out.append(
            ValueEntry(
                key, known.name, typed("value", known.name), unit, typed("temperature", known.name),
                **measured,
            )
        )  # fmt: skip
    return out


def _sheet(
    request: HttpRequest, row: Any, sample: Any, origin: str, entries: Any = (), wrong: Any = None,
    *, form: Any = None, status: int = 200,
) -> HttpResponse:  # fmt: skip
    wrong = wrong or {}
    given = {entry.name: entry for entry in entries}
    stands = {value.name: value for value in sample.values.all() if value.set_aside_at is None}
    context = {
        "check": row,
        "sample": sample,
        "origin": origin,
        "origins": ORIGINS,
        "wrong": wrong,
        "form": form or MeasuredForm(),
        "lines": [_line(row, one, stands, given, wrong) for one in KNOWN],
        "aside": [value for value in sample.values.all() if value.set_aside_at is not None],
        "back": to_check(row),
        "crumbs": crumbs(row, f"Values of {sample}"),
    }
    return render(request, "checks/values.html", context, status=status)


def _line(row: Any, known: Any, stands: Any, given: Any, wrong: Any) -> Line:
    usual = "20" if known.mixes else ""
    entry = given.get(known.name) or ValueEntry(uuid.uuid4(), known.name, "", known.unit, usual)
    return Line(
        name=known.name,
        words=known.words,
        units=tuple(known.units),
        example=FIELDS[known.name].example,
        limits=limits_beside(row, known.name),
        certificate=certificate_beside(row, known.name),
        stands=stands.get(known.name),
        entry=entry,
        problem=wrong.get(entry.place, ""),
        temperature_problem=wrong.get(entry.temperature_place, ""),
    )


@signed_in
@require_http_methods(["GET", "POST"])
def value_aside(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    value = queries.value(actor, key)
    row = queries.check(actor, value.sample.concentrate_check.key)
    require_draft(request, row)
    there = reverse("bottle_values", args=[value.sample.key])
    form = WhyForm(request.POST or None)
    words = PROPERTIES[value.name].words

    def write() -> Any:
        done = checking.set_aside_value(
            actor=actor, value=value, at=timezone.now(), **form.cleaned_data
        )
        undo = reverse("value_back", args=[key])
        messages.success(request, f"Set aside: {words} {done}.", extra_tags=undo)
        return done

    return edit(
        request, form=form, write=write, to=lambda _: there, said="",
        title=f"Set aside: {words} {value} of {value.sample}", save="Set aside", back=there,
        crumbs=crumbs(row),
    )  # fmt: skip


@signed_in
@require_POST
def value_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    value = queries.value(actor, key)
    row = queries.check(actor, value.sample.concentrate_check.key)
    require_draft(request, row)
    try:
        checking.bring_back_value(actor=actor, value=value)
    except Conflict as conflict:
        messages.error(request, conflict.sentence)
    else:
        messages.success(request, f"{value} counts again.")
    return redirect("bottle_values", key=value.sample.key)


urls: list[URLPattern] = [
    path("bottles/<uuid:key>/values/", bottle_values, name="bottle_values"),
    path("values/<uuid:key>/set-aside/", value_aside, name="value_aside"),
    path("values/<uuid:key>/bring-back/", value_back, name="value_back"),
]
