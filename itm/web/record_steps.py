"""The steps in the life of a record that have a form of their own, the same for every kind."""

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
from django.views.decorators.http import require_http_methods

from itm.accounts.actor import Actor
from itm.actions.abandon import abandon
from itm.actions.amend import amend
from itm.actions.send_back import send_back
from itm.actions.sign import sign
from itm.core.errors import Refused
from itm.records import along, states
from itm.records.record_forms import SignForm, StepForm
from itm.web import proving
from itm.web.guard import actor_of, signed_in


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


@dataclass(frozen=True)
class Pages:
    """One kind of record: how it is found, its own page, what it is called, and the page for who
    sent a draft back to others and sees it no more. `prefix` stands before the names of steps."""

    find: Callable[[Actor, UUID], Any]
    page: str
    heading: Callable[[Any], str]
    crumbs: Callable[..., list[tuple[str, str]]]
    left: Callable[[Any], str]
    prefix: str = ""

    @property
    def names(self) -> dict[str, str]:
        """The address of each verb."""
        verbs = ("hand_in", "sign", "send_back", "abandon", "amend", "report", "report_pdf")
        return {verb: f"{self.prefix}{verb}" for verb in verbs}


def step_page(request: HttpRequest, key: UUID, step: Step, pages: Pages) -> HttpResponse:
    actor = actor_of(request)
    row = pages.find(actor, key)
    states.require(actor, step.verb, row)
    if not states.possible(actor, step.verb, row):
        messages.info(request, f"This record is {row.get_state_display()} now.")
        return redirect(pages.page, key=key)
    form = step.form(request.POST or None, initial=known_of(actor) if step is SIGN else None)
    if step is SIGN:
        form = proving.asking(request, form)
    if request.method == "POST" and form.is_valid():
        try:
            actor = proving.proved(request, form) if step is SIGN else actor
            after = step.act(actor=actor, key=key, at=timezone.now(), **form.cleaned_data)
        except Refused as refusal:
            form.add_error(refusal.place if refusal.place in form.fields else None,
                           refusal.sentence)  # fmt: skip
        else:
            messages.success(request, step.done)
            if actor.organisation_id != row.maker_id:
                return redirect(pages.left(row))
            return redirect(pages.page, key=after.key)
    context = {
        "heading": pages.heading(row),
        "step": step,
        "form": form,
        "back": reverse(pages.page, args=[key]),
        "elsewhere": along.may_hold_of(row, timezone.now(), verb="sign") if step is SIGN else [],
        "crumbs": pages.crumbs(row, step.title),
    }
    return render(request, "results/step.html", context, status=422 if form.errors else 200)


def known_of(actor: Actor) -> dict[str, Any]:
    """What the person's own page says; the signature shows what is typed here."""
    user = actor.user
    if user is None:
        return {}
    return {
        "name": user.name, "qualification": user.qualification, "number": user.licence_number,
        "valid_until": user.licence_expires_on,
    }  # fmt: skip


def step_addresses(at: str, pages: Pages) -> list[URLPattern]:
    """Of the kind of record that stands at `at`."""

    def page_of(step: Step) -> Callable[..., HttpResponseBase]:
        @signed_in
        @require_http_methods(["GET", "POST"])
        def view(request: HttpRequest, key: UUID) -> HttpResponse:
            return step_page(request, key, step, pages)

        return view

    return [
        path(
            f"{at}/<uuid:key>/{step.verb.replace('_', '-')}/",
            page_of(step),
            name=pages.names[step.verb],
        )
        for step in (SIGN, SEND_BACK, ABANDON, AMEND)
    ]
