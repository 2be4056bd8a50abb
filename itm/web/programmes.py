"""Programmes: which there are, what their rows ask, and adopting one."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts.actor import leads
from itm.actions.adopt import adopt
from itm.core.figures import day
from itm.findings import queries as findings
from itm.schedule import adopting, deciding, wording
from itm.schedule import adoption_queries as queries
from itm.schedule.forms import AdoptForm, DecisionForm
from itm.schedule.rules import window_of
from itm.web.editing import Crumbs, edit, own_date
from itm.web.guard import actor_of, signed_in
from itm.web.weighing import effect, weigh

CLASSES = dict(findings.CLASSES)


def crumbs() -> Crumbs:
    return [("Programmes", reverse("programmes"))]


@signed_in
@require_GET
def programmes(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    held: dict[int, list[Any]] = {}
    for row in queries.adoptions(actor).filter(ends_on=None):
        held.setdefault(row.programme_id, []).append(row)
    context = {
        "programmes": [(row, held.get(row.pk, [])) for row in queries.programmes()],
        "decides": actor.kind == "authority" and leads(actor),
        "owns": actor.kind == "owner",
        "crumbs": [],
    }
    return render(request, "programmes/list.html", context)


def told(row: Any) -> dict[str, Any]:
    """A row of a programme in words."""
    return {
        "row": row,
        "when": wording.when(row, window_of(row)),
        "applies_to": wording.applies_to(row),
        "wants": wording.wants(row),
        "overdue": CLASSES.get(str(row.overdue_class), ""),
    }


@signed_in
@require_GET
def programme(request: HttpRequest, pk: int) -> HttpResponse:
    actor = actor_of(request)
    row = queries.programme(pk)
    context = {
        "programme": row,
        "rows": [told(one) for one in row.requirements.all()],
        "adoptions": queries.adoptions(actor).filter(programme=row),
        "may_adopt": actor.kind in ("owner", "authority") and leads(actor) and not row.everywhere,
        "crumbs": [*crumbs(), (row.name, "")],
    }
    return render(request, "programmes/programme.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def programme_adopt(request: HttpRequest, pk: int) -> HttpResponse:
    actor = actor_of(request)
    adopting.require_may_adopt(actor)
    row: Any = queries.programme(pk)
    form = AdoptForm(request.POST or None, actor=actor, initial={"starts_on": own_date(actor)})
    there = reverse("programme", args=[pk])

    def said(given: tuple[Any, Any]) -> list[str]:
        adoption, made = given
        waits = f"{row.to_confirm} of its {row.rows} rows wait until you confirm them."
        return [
            f"{row.name} holds from {day(adoption.starts_on)}.",
            *effect(made),
            *([waits] if row.to_confirm else []),
        ]

    return weigh(
        request, form=form, said=said, title=f"Adopt {row.name}",
        write=lambda: adopt(actor=actor, programme=row, **form.cleaned_data),
        to=lambda given: reverse("adoption", args=[given[0].key]),
        save="Adopt it", back=there, crumbs=[*crumbs(), (row.name, there)],
        lead="Rows that were looked up hold at once; the others once somebody has held them "
        "against the edition that governs. An earlier edition ends the day before, with its "
        "duties kept as they were. Local code and licensed practice come first.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def jurisdiction(request: HttpRequest) -> HttpResponse:
    """How sure a statement must be in the authority's jurisdiction."""
    actor = actor_of(request)
    deciding.require_decider(actor)
    organisation = actor.organisation
    names = ("verdict_probability", "lean_probability")
    form = DecisionForm(
        request.POST or None, initial={name: getattr(organisation, name) for name in names}
    )
    return edit(
        request, form=form,
        write=lambda: deciding.set_decision_rule(actor=actor, **form.cleaned_data),
        to=lambda _: reverse("programmes"), title="Decision rule",
        said="The decision rule of {} is set for tests prepared from now on.",
        lead="Each test takes the rule with it when its day is prepared, so tests already "
        "prepared or sealed stay as they were.",
        back=reverse("programmes"), crumbs=crumbs(),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("programmes/", programmes, name="programmes"),
    path("programmes/decision-rule/", jurisdiction, name="decision_rule"),
    path("programmes/<int:pk>/", programme, name="programme"),
    path("programmes/<int:pk>/adopt/", programme_adopt, name="programme_adopt"),
]
