"""The record of a test: what it says, and the steps of its life."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import Actor
from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.hand_in import hand_in
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.errors import Refused
from itm.intake.check import Problem
from itm.intake.complete import problems
from itm.records import queries, states
from itm.records.as_it_stands import record_form
from itm.records.cautions import LOOK
from itm.records.record_forms import SignForm, StepForm
from itm.trends.where_to_look import where_to_look
from itm.web.guard import actor_of, signed_in
from itm.web.results_page import page
from itm.web.steps import address, crumbs, steps


@signed_in
@require_GET
def test(request: HttpRequest, key: UUID) -> HttpResponse:
    return _record(request, key)


test.__test__ = False  # type: ignore[attr-defined]  # a page, whatever its name begins with


def _record(request: HttpRequest, key: UUID, *, status: int = 200) -> HttpResponse:
    actor = actor_of(request)
    row = queries.test(actor, key)
    form, missing = record_form(row)
    left: list[Problem] = []
    if states.possible(actor, "hand_in", row):
        left = problems(row, no_result=missing)
    context = page(form) | {
        "test": row,
        "missing": missing,
        "left": [(problem, _mended_at(problem, row)) for problem in left],
        "may": {
            verb: states.possible(actor, verb, row)
            for verb in ("change", "hand_in", "sign", "send_back", "abandon", "amend")
        },
        "where_to_look": where_to_look(actor, row, form, timezone.now()),
        "caution": LOOK,
        "once": uuid.uuid4(),
        "seal": getattr(row, "seal", None),
        "amendment": row.amendments.exclude(state="abandoned").first(),
        "crumbs": crumbs(row),
        "steps": steps(row, "result") if row.state in ("draft", "handed_in") else [],
    }
    return render(request, "results/record.html", context, status=status)


def _mended_at(problem: Problem, row: Any) -> str:
    """Where the person mends it."""
    if problem.code == "not_started":
        return reverse("visit", args=[row.visit.key])
    return address(row, {"restoring": "restore"}.get(problem.place, problem.place))


@signed_in
@require_POST
def handing_in(request: HttpRequest, key: UUID) -> HttpResponse:
    """A double click carries the same key twice and makes one hand-in."""
    try:
        once = uuid.UUID(request.POST.get("once", ""))
    except ValueError:
        once = uuid.uuid4()
    try:
        hand_in(actor=actor_of(request), key=key, at=timezone.now(), once=once)
    except Refused as refusal:
        messages.error(request, refusal.sentence)
        return _record(request, key, status=422)
    messages.success(request, "Handed in. A supervisor or manager signs it, or sends it back.")
    return redirect("test", key=key)


@dataclass(frozen=True)
class Step:
    """One step with a form of its own."""

    verb: str
    title: str
    text: str
    button: str
    done: str
    form: type[StepForm] | type[SignForm]
    act: Callable[..., Any]


SIGN = Step(
    "sign",
    "Sign and seal",
    "With your signature this record is closed for good: nobody changes it any more, also not you. "
    "What is wrong later is corrected by a new record that names this one. Sign what you have "
    "looked at and are qualified to sign under the rules of this place.",
    "Sign and seal",
    "Signed and sealed. The report is being made.",
    SignForm,
    sign,
)
SEND_BACK = Step(
    "send_back",
    "Send back",
    "It becomes a draft again. What was handed in stays with its digest, and your reason stands in "
    "its life for everybody who sees the record.",
    "Send back",
    "Sent back with your reason.",
    StepForm,
    send_back,
)
ABANDON = Step(
    "abandon",
    "Abandon",
    "The draft and its readings stay, with your reason, but nothing can be handed in from it. "
    "Nothing is deleted.",
    "Abandon the draft",
    "Abandoned; its readings stay.",
    StepForm,
    abandon,
)
AMEND = Step(
    "amend",
    "Amend",
    "The sealed record stays as it is. A new draft starts as its copy, names it and says why; it "
    "takes effect when it is signed itself.",
    "Start the amendment",
    "This is the draft of the amendment, a copy of the sealed record.",
    StepForm,
    amend,
)


def _step_page(request: HttpRequest, key: UUID, step: Step) -> HttpResponse:
    actor = actor_of(request)
    row = queries.test(actor, key)
    states.require(actor, step.verb, row)
    if not states.possible(actor, step.verb, row):
        messages.info(request, f"This record is {row.get_state_display()} now.")
        return redirect("test", key=key)
    form = step.form(request.POST or None, initial=_known(actor) if step is SIGN else None)
    if request.method == "POST" and form.is_valid():
        try:
            after = step.act(actor=actor, key=key, at=timezone.now(), **form.cleaned_data)
        except Refused as refusal:
            form.add_error(refusal.place if refusal.place in form.fields else None,
                           refusal.sentence)  # fmt: skip
        else:
            messages.success(request, step.done)
            if actor.organisation_id != row.visit.contractor_id:
                return redirect("visit", key=row.visit.key)  # a draft is the crew's own again
            return redirect("test", key=after.key)
    context = {
        "test": row, "step": step, "form": form, "crumbs": crumbs(row, step.title),
    }  # fmt: skip
    return render(request, "results/step.html", context, status=422 if form.errors else 200)


def _known(actor: Actor) -> dict[str, str]:
    """What the person's own page says; the signature shows what is typed here."""
    user = actor.user
    if user is None:
        return {}
    return {
        "name": user.name, "qualification": user.qualification, "number": user.licence_number,
    }  # fmt: skip


def _page_of(step: Step) -> Callable[..., HttpResponseBase]:
    @signed_in
    @require_http_methods(["GET", "POST"])
    def view(request: HttpRequest, key: UUID) -> HttpResponse:
        return _step_page(request, key, step)

    return view


urls: list[URLPattern] = [
    path("tests/<uuid:key>/", test, name="test"),
    path("tests/<uuid:key>/hand-in/", handing_in, name="hand_in"),
    path("tests/<uuid:key>/sign/", _page_of(SIGN), name="sign"),
    path("tests/<uuid:key>/send-back/", _page_of(SEND_BACK), name="send_back"),
    path("tests/<uuid:key>/abandon/", _page_of(ABANDON), name="abandon"),
    path("tests/<uuid:key>/amend/", _page_of(AMEND), name="amend"),
]
