"""Signing in and out, and a new password by mail. There is no other way in."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth import views as auth
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from itm.accounts import codes, entrance, passwords
from itm.accounts.forms import CodeForm, PasswordForm, ResetForm
from itm.actions.reset_password import reset_password
from itm.core.callers import caller
from itm.core.errors import NotFound, Refused
from itm.web import proving
from itm.web.editing import edit
from itm.web.guard import unlisted

HALF = "half"  # in the session: who typed the right password and owes the second step
PATIENCE = timedelta(minutes=10)  # own choice


class SignInForm(AuthenticationForm):
    """Counts the try before it looks whether it is right."""

    error_messages = AuthenticationForm.error_messages | {
        "invalid_login": "E-mail address and password do not belong together. Capitals count in "
        "the password."
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail address"
        self.fields["username"].widget.attrs.update({"type": "email", "inputmode": "email"})

    def clean(self) -> dict[str, Any]:
        if self.request is None or not {"username", "password"} <= set(self.cleaned_data):
            return self.cleaned_data
        try:
            knock = entrance.knock(
                email=self.cleaned_data["username"], caller=caller(self.request),
                at=timezone.now(),
            )  # fmt: skip
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal
        cleaned = super().clean()
        entrance.passed(knock)
        return cleaned


class SignIn(auth.LoginView):
    template_name = "account/sign_in.html"
    form_class = SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        user, there = form.get_user(), self.get_success_url()
        if codes.of(user) is not None:
            begun = timezone.now().isoformat()
            self.request.session[HALF] = {"person": str(user.key), "begun": begun, "next": there}
            return redirect("sign_in_code")
        enter(self.request, user)
        return redirect(there)


@never_cache
@require_http_methods(["GET", "POST"])
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The second step, for whoever typed the right password a moment ago."""
    now, half = timezone.now(), request.session.get(HALF)
    if not half or now - datetime.fromisoformat(half["begun"]) > PATIENCE:
        return redirect("sign_in")
    user = entrance.person(UUID(half["person"]))
    form = CodeForm(request.POST or None)
    form.fields["code"].widget.attrs["autofocus"] = True

    def write() -> None:
        entrance.second_step(
            user=user, code=form.cleaned_data["code"], caller=caller(request), at=now
        )  # fmt: skip
        enter(request, user)

    return edit(
        request, form=form, write=write, to=lambda _: half["next"], said="", title="Sign in",
        template="account/sign_in_code.html", back="", crumbs=[], email=user.email,
    )  # fmt: skip


def enter(request: HttpRequest, user: Any) -> None:
    """The session begins, and says in which browser and since when."""
    login(request, user)
    request.session.pop(HALF, None)
    request.session["browser"] = request.headers.get("User-Agent", "")[:300]
    request.session["began"] = timezone.now().isoformat()
    proving.note(request)


@unlisted
@require_http_methods(["GET", "POST"])
def reset_ask(request: HttpRequest) -> HttpResponse:
    """The same is said whether there is such an account or not."""
    form = ResetForm(request.POST or None)

    def write() -> None:
        passwords.ask(
            email=form.cleaned_data["email"], caller=caller(request), at=timezone.now()
        )  # fmt: skip
        messages.success(
            request,
            f"If there is an account with {form.cleaned_data['email']}, a mail is on its way. "
            "Its link works once, within an hour.",
        )

    return edit(
        request, form=form, write=write, to=lambda _: reverse("sign_in"), said="",
        title="A new password", save="Send the mail", back=reverse("sign_in"), crumbs=[],
        lead="A mail to the address of your account brings a link under which you set it.",
    )  # fmt: skip


@unlisted
@require_http_methods(["GET", "POST"])
def reset(request: HttpRequest, key: UUID, token: str) -> HttpResponse:
    try:
        user = passwords.holder(key, token)
    except NotFound:
        sentence = "It was used already, its hour is over, or somebody signed in since. "
        return render(
            request, "account/link_over.html", {"sentence": sentence, "again": "reset_ask"},
            status=404,
        )  # fmt: skip
    form = PasswordForm(request.POST or None)

    def write() -> None:
        reset_password(
            key=key, token=token, password=form.cleaned_data["password"], at=timezone.now()
        )
        if request.user == user:
            logout(request)  # its session is gone with the others
        messages.success(request, f"The password is set: sign in as {user.email}.")

    return edit(
        request, form=form, write=write, to=lambda _: reverse("sign_in"), said="",
        title="A new password", save="Set the password", back=reverse("sign_in"), crumbs=[],
        lead=f"For {user.email}. Every browser in which this account is signed in is signed out, "
        "and tokens and calendar addresses that were made in it end.",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-in/code/", sign_in_code, name="sign_in_code"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign_out"),
    path("reset/", reset_ask, name="reset_ask"),
    path("reset/<uuid:key>/<str:token>/", reset, name="reset"),
]
