"""The field that asks once more who one is, on the forms of deeds that want to know."""

from dataclasses import replace
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone

from itm.accounts import proving
from itm.accounts.actor import Actor
from itm.core.callers import caller
from itm.web.guard import actor_of

PROVED = "proved"  # in the session: when its person last showed who it is


def asking(request: HttpRequest, form: Any) -> Any:
    """The form, with the field where the last proof is too long ago."""
    if not actor_of(request).proved:
        form.fields[proving.PLACE] = forms.CharField(
            label="Your password", strip=False, max_length=200,
            help_text="Asked because it was last typed more than "
            f"{proving.FRESH.seconds // 60} minutes ago.",
            widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        )  # fmt: skip
    return form


def proved(request: HttpRequest, form: Any) -> Actor:
    """Who acts, proved by what was typed; called where the form is valid and refusals land on it.
    The proof holds for what is done next, too."""
    text = form.cleaned_data.pop(proving.PLACE, None)
    actor = actor_of(request)
    if actor.proved or text is None:
        return actor
    now = timezone.now()
    actor = proving.prove(actor=actor, text=text, caller=caller(request), at=now)
    note(request)
    request.actor = replace(actor)  # type: ignore[attr-defined]
    return actor


def note(request: HttpRequest) -> None:
    """The person showed who it is, now."""
    request.session[PROVED] = timezone.now().isoformat()
