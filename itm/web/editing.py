"""One way to answer a form: show it, show it again with its sentences, or save and go on."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from itm.accounts.actor import Actor
from itm.core.clock import FIRST_TO_BEGIN, date_at
from itm.registry import queries

Crumbs = list[tuple[str, str]]


def site_date(zone: str = FIRST_TO_BEGIN) -> date:
    """Today on the clock of the site; without a site, the latest date that has begun anywhere."""
    return date_at(zone, timezone.now())


def own_date(actor: Actor) -> date:
    """Today where the sites are that the person sees."""
    return queries.today(actor, timezone.now())


def edit(
    request: HttpRequest, *, form: Any, write: Callable[[], Any], to: Callable[[Any], str],
    title: str, back: str, crumbs: Crumbs, save: str = "Save",
    said: str = "Saved: {}.", template: str = "registry/form.html",
    ready: Callable[[], bool] = lambda: True, **context: Any,
) -> HttpResponse:  # fmt: skip
    """`write` calls the service; its refusals land on the form. `to` is the page that follows.

    `ready` judges whatever else the page holds beside the form; both are judged before either says
    no, so that all sentences stand there at once.
    """
    if request.method == "POST":
        fine = [form.is_valid(), ready()]
        if all(fine):
            with form.refusals():
                row = write()
                if said:
                    messages.success(request, said.format(row))
                return redirect(to(row))
    context |= {"form": form, "title": title, "save": save, "back": back}
    context["crumbs"] = [*crumbs, (title, "")]
    status = 422 if request.method == "POST" else 200
    return render(request, template, context, status=status)
