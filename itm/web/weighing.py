"""Deeds that touch many sites: first what would follow, then all of it or nothing."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from itm.web.editing import Crumbs

SURE = "sure"


def rehearsed(write: Callable[[], Any]) -> Any:
    """What the deed gives, with nothing of it left in the database."""
    with transaction.atomic():
        given = write()
        transaction.set_rollback(True)
    return given


def weigh(
    request: HttpRequest, *, form: Any, write: Callable[[], Any], said: Callable[[Any], list[str]],
    to: Callable[[Any], str], title: str, save: str, back: str, crumbs: Crumbs,
    template: str = "programmes/weigh.html", **context: Any,
) -> HttpResponse:  # fmt: skip
    """The first press rehearses and says what would follow, the second does it. `said` words what
    `write` gives; its refusals land on the form, with all that was typed."""
    following: list[str] = []
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            with form.refusals():
                if SURE in request.POST:
                    given = write()
                    messages.success(request, " ".join(said(given)))
                    return redirect(to(given))
                following, status = said(rehearsed(write)), 200
    context |= {
        "form": form,
        "title": title,
        "save": save,
        "back": back,
        "following": following,
        "crumbs": [*crumbs, (title, "")],
    }
    return render(request, template, context, status=status)


def effect(made: Any) -> list[str]:
    """Sentences about what a deed did to duties."""
    sites = "1 site" if made.sites == 1 else f"{made.sites} sites"
    out = [f"{sites}: {counted(made.begun)} {'begins' if made.begun == 1 else 'begin'}."]
    if made.gone:
        was = "that was open gives way" if made.gone == 1 else "that were open give way"
        out.append(f"{counted(made.gone)} {was}.")
    return out


def counted(number: int) -> str:
    return "1 duty" if number == 1 else f"{number} duties"
