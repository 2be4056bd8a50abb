"""The ranges of a lot's certificate: every property on one sheet, as the paper gives them."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_http_methods

from itm.core.errors import Conflict, Refused
from itm.core.quantities import apart
from itm.intake.check import Problem
from itm.intake.concentrate import FIELDS, judge_value
from itm.registry import queries, services
from itm.registry.certifying import Range, ranges_of, set_ranges
from itm.registry.properties import KNOWN, Property
from itm.web.guard import actor_of, signed_in

ENDS = ("lowest", "highest")


@dataclass(frozen=True)
class Line:
    """One property as entered: two numbers of one unit, and the condition that they hold at."""

    known: Property
    lowest: str
    highest: str
    unit: str
    condition: str

    @property
    def example(self) -> str:
        return FIELDS[self.known.name].example


def shown_ranges(lot: Any) -> list[tuple[str, str, str]]:
    """Property, range as its certificate gives it, condition: for the page of the lot."""
    known = {one.name: one for one in KNOWN}
    out = []
    for row in ranges_of(lot):
        low, high = row.lowest_typed, row.highest_typed
        if low and high:
            said = f"{low} to {high}"
        else:
            said = f"at least {low}" if low else f"at most {high}"
        out.append((known[row.name].words, said, row.condition))
    return out


@signed_in
@require_http_methods(["GET", "POST"])
def lot_ranges(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    lot = queries.lot(actor, key)
    services.require_own(actor, lot, "change a lot")
    if request.method == "GET":
        return _sheet(request, lot, _stored(lot))
    lines = [_typed(request, known) for known in KNOWN]
    ranges, problems = _judged(lines)
    if not problems:
        try:
            set_ranges(actor=actor, lot=lot, ranges=ranges)
        except (Refused, Conflict) as refusal:
            problems.append(Problem(getattr(refusal, "place", ""), refusal.code, refusal.sentence))
    if problems:
        return _sheet(request, lot, lines, problems)
    messages.success(request, f"Saved: the ranges of {lot}.")
    return redirect("lot", key=key)


def _stored(lot: Any) -> list[Line]:
    rows = {row.name: row for row in ranges_of(lot)}
    out = []
    for known in KNOWN:
        row = rows.get(known.name)
        typed = [getattr(row, f"{end}_typed") if row else "" for end in ENDS]
        units = [unit for unit in known.units if unit]
        split = [apart(text, units) for text in typed]
        unit = next((unit for _, unit in split if unit), known.unit)
        out.append(Line(known, split[0][0], split[1][0], unit, row.condition if row else ""))
    return out


def _typed(request: HttpRequest, known: Property) -> Line:
    low, high, unit, condition = (
        request.POST.get(f"{known.name}-{part}", "").strip()[:120]
        for part in (*ENDS, "unit", "condition")
    )
    return Line(known, low, high, unit if len(known.units) > 1 else known.unit, condition)


def _judged(lines: list[Line]) -> tuple[dict[str, Range], list[Problem]]:
    ranges: dict[str, Range] = {}
    problems: list[Problem] = []
    for line in lines:
        name = line.known.name
        ends: dict[str, Any] = {}
        for end in ENDS:
            if number := getattr(line, end):
                judged = judge_value(name, number, line.unit, "", place=f"{name}-{end}")
                problems += judged.problems
                ends |= {end: judged.value, f"{end}_typed": judged.typed}
        ranges[name] = Range(**ends, condition=line.condition)
    return ranges, problems


def _sheet(request: HttpRequest, lot: Any, lines: list[Line], problems: Any = ()) -> HttpResponse:
    wrong = {problem.place: problem.sentence for problem in problems}
    back = reverse("lot", args=[lot.key])
    context = {
        "lot": lot,
        "lines": [
            (line, [(end, getattr(line, end), wrong.get(f"{line.known.name}-{end}", ""))
                    for end in ENDS])
            for line in lines
        ],
        "wrong": wrong,
        "back": back,
        "crumbs": [("Lots", reverse("lots")), (str(lot), back), ("Ranges", "")],
    }  # fmt: skip
    return render(request, "checks/ranges.html", context, status=422 if wrong else 200)


urls: list[URLPattern] = [path("lots/<uuid:key>/ranges/", lot_ranges, name="lot_ranges")]
