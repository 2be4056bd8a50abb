"""Pages of the second step at signing in: turned on, shown on paper, ended by its person."""

from typing import Any

import segno
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts import codes
from itm.accounts import second_factor as services
from itm.accounts.forms import CodeForm, PlainForm
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.proving import asking, proved

HOME = "Second step at signing in"
MADE = "codes_made"  # in the session until the page that shows them, once


def crumbs(*more: tuple[str, str]) -> list[tuple[str, str]]:
    return [("Your account", reverse("account")), *more]


@signed_in
@never_cache
@require_GET
def second_factor(request: HttpRequest) -> HttpResponse:
    """The codes on paper stand here once, on the page that follows their making."""
    row = codes.of(actor_of(request).user)
    context = {
        "row": row,
        "left": codes.codes_left(row) if row else 0,
        "codes": request.session.pop(MADE, []),
        "crumbs": crumbs((HOME, "")),
    }
    return render(request, "account/second_factor.html", context)


def deed(request: HttpRequest, *, write: Any, form: Any = None, **words: Any) -> HttpResponse:
    """A press of a button that wants to know who presses it."""
    given = request.POST if request.method == "POST" else None
    shown = asking(request, form or PlainForm(given))
    home = reverse("second_factor")
    return edit(
        request, form=shown, write=lambda: write(proved(request, shown)),
        **{"to": lambda _: home, "back": home, "crumbs": crumbs((HOME, home)), "said": "", **words},
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def second_factor_begin(request: HttpRequest) -> HttpResponse:
    return deed(
        request, write=lambda actor: services.begin(actor=actor, at=timezone.now()),
        to=lambda _: reverse("second_factor_confirm"), title="Turn the second step on",
        save="Go on", lead="You need a telephone or computer with a program that shows one-time "
        "codes. At every sign-in you are then asked for one besides the password.",
    )  # fmt: skip


@signed_in
@never_cache
@require_http_methods(["GET", "POST"])
def second_factor_confirm(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    row = services.begun(actor)
    if row is None:
        return redirect("second_factor")
    if not actor.proved and request.method == "GET":
        return redirect("second_factor_begin")  # the secret is shown to nobody else at the screen
    form = CodeForm(request.POST or None)

    def write(actor: Any) -> None:
        request.session[MADE] = services.confirm(
            actor=actor, code=form.cleaned_data["code"], at=timezone.now()
        )

    symbol = segno.make(services.address(row), error="m", micro=False)
    return deed(
        request, write=write, form=form, title="Turn the second step on", save="Turn it on",
        said="The second step is on.", template="account/second_factor_confirm.html",
        secret=" ".join(row.secret[i : i + 4] for i in range(0, len(row.secret), 4)),
        symbol=symbol.svg_inline(scale=5, border=4, light="white") if actor.proved else "",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def second_factor_codes(request: HttpRequest) -> HttpResponse:
    def write(actor: Any) -> None:
        request.session[MADE] = services.new_codes(actor=actor)

    return deed(
        request, write=write, title="New recovery codes", save="Make new codes",
        lead="The codes that you have on paper stop working.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def second_factor_end(request: HttpRequest) -> HttpResponse:
    return deed(
        request, write=lambda actor: services.end(actor=actor), title="End the second step",
        save="End it", said="The second step is off: the password alone lets you in.",
        lead="The codes of the device and those on paper stop working.",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("account/second-step/", second_factor, name="second_factor"),
    path("account/second-step/on/", second_factor_begin, name="second_factor_begin"),
    path("account/second-step/confirm/", second_factor_confirm, name="second_factor_confirm"),
    path("account/second-step/codes/", second_factor_codes, name="second_factor_codes"),
    path("account/second-step/off/", second_factor_end, name="second_factor_end"),
]
