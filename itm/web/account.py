"""Signing in and out, one's own account, for whom one acts, and the health of the server."""

from copy import copy

from django.contrib import messages
from django.contrib.auth import views as auth
from django.contrib.auth.forms import AuthenticationForm
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts import services
from itm.accounts.actor import open_memberships
from itm.accounts.forms import MeasuresForm, QualificationForm
from itm.core import outbox, triggers
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in


class SignIn(auth.LoginView):
    template_name = "account/sign_in.html"
    redirect_authenticated_user = True

    def get_form(self, form_class: type[AuthenticationForm] | None = None) -> AuthenticationForm:
        form = super().get_form(form_class)
        form.fields["username"].label = "E-mail address"
        form.fields["username"].widget.attrs.update({"type": "email", "inputmode": "email"})
        form.error_messages["invalid_login"] = (
            "E-mail address and password do not belong together. Capitals count in the password."
        )
        return form


@signed_in
@require_http_methods(["GET", "POST"])
def choose_membership(request: HttpRequest) -> HttpResponse:
    """For people who act for more than one organisation."""
    rows = open_memberships(request.actor.user, timezone.now().date())  # type: ignore[attr-defined]
    if request.method == "POST":
        chosen = next((m for m in rows if str(m.key) == request.POST.get("membership")), None)
        if chosen is None:
            raise Http404
        request.session["membership"] = str(chosen.key)
        return redirect("home")
    return render(request, "account/choose.html", {"memberships": rows})


@signed_in
@require_http_methods(["GET", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """Who one is here, and in which units one reads."""
    actor = actor_of(request)
    if actor.user is None:
        raise Http404
    form = MeasuresForm(request.POST or None, initial={"measures": actor.user.measures})
    if request.method == "POST" and form.is_valid():
        services.choose_measures(by=actor, user=actor.user, **form.cleaned_data)
        messages.success(request, "Saved: the units in which you read.")
        return redirect("account")
    rows = open_memberships(actor.user, actor.today)
    context = {"form": form, "person": actor.user, "memberships": rows, "crumbs": []}
    return render(request, "account/account.html", context, status=422 if form.errors else 200)


@signed_in
@require_http_methods(["GET", "POST"])
def qualification(request: HttpRequest) -> HttpResponse:
    """Of the person alone: nobody else says what one is licensed for."""
    actor = actor_of(request)
    person = actor.user
    if person is None:
        raise Http404
    form = QualificationForm(request.POST or None, instance=copy(person))
    return edit(
        request, form=form, title="Your qualification",
        write=lambda: services.say_qualification(by=actor, user=person, **form.cleaned_data),
        to=lambda _: reverse("account"), back=reverse("account"),
        said="Saved: your signatures are filled in with it.",
        crumbs=[("Your account", reverse("account"))],
    )  # fmt: skip


@require_GET
@never_cache
def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers."""
    return JsonResponse({"process": "up"})


@require_GET
@never_cache
def readyz(request: HttpRequest) -> HttpResponse:
    """Database, migrations and guards are in place, and promised work is not left lying."""
    try:
        executor = MigrationExecutor(connection)
        behind = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        guards = len(triggers.missing(connection))
        oldest = outbox.waiting().order_by("not_before").values_list("not_before", flat=True)
        late = (timezone.now() - oldest[0]).total_seconds() if oldest else 0
    except DatabaseError:
        return JsonResponse({"database": "away"}, status=503)
    facts = {
        "database": "up",
        "migrations_waiting": behind,
        "guards_missing": guards,
        "oldest_job_seconds": max(0, round(late)),
    }
    return JsonResponse(facts, status=503 if behind or guards else 200)


urls: list[URLPattern] = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign_out"),
    path("account/", account, name="account"),
    path("account/qualification/", qualification, name="qualification"),
    path("acting-for/", choose_membership, name="choose_membership"),
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
]
