"""One's own account, for whom one acts, and the health of the server."""

from copy import copy

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts import entrance, passwords, services
from itm.accounts.actor import open_memberships
from itm.accounts.forms import MeasuresForm, PasswordForm, QualificationForm
from itm.core import outbox, triggers
from itm.web import proving
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in


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


@signed_in
@require_http_methods(["GET", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    form = proving.asking(request, PasswordForm(request.POST or None))

    def write() -> None:
        actor = proving.proved(request, form)
        user = passwords.change(
            actor=actor, password=form.cleaned_data["password"],
            session_key=request.session.session_key,
        )  # fmt: skip
        update_session_auth_hash(request, user)

    return edit(
        request, form=form, write=write, to=lambda _: reverse("account"),
        title="Change your password", save="Change the password", back=reverse("account"),
        said="Your password is changed, and every other browser is signed out.",
        crumbs=[("Your account", reverse("account"))],
    )  # fmt: skip


@signed_in
@never_cache
@require_GET
def sessions(request: HttpRequest) -> HttpResponse:
    """Where this person is signed in. From where is not known and not kept."""
    user = actor_of(request).user
    if user is None:
        raise Http404
    rows = [
        {
            "row": row,
            "name": entrance.name_of(row),
            "browser": entrance.browser_in_words(row.browser),
            "here": row.session_key == request.session.session_key,
        }
        for row in entrance.sessions(user, timezone.now())
    ]
    crumbs = [("Your account", reverse("account")), ("Where you are signed in", "")]
    return render(request, "account/sessions.html", {"sessions": rows, "crumbs": crumbs})


@signed_in
@require_POST
def session_end(request: HttpRequest, name: str) -> HttpResponse:
    user = actor_of(request).user
    if user is None:
        raise Http404
    row = entrance.end_session(user=user, name=name, now=timezone.now())
    messages.success(request, f"Signed out there: {entrance.browser_in_words(row.browser)}.")
    return redirect("sessions")


@signed_in
@require_POST
def sessions_end(request: HttpRequest) -> HttpResponse:
    """All but the one that asks."""
    user = actor_of(request).user
    if user is None:
        raise Http404
    count = entrance.end_sessions(user=user, but=request.session.session_key)
    browsers = "1 other browser" if count == 1 else f"{count} other browsers"
    messages.success(request, f"Signed out in {browsers}.")
    return redirect("sessions")


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
        given_up = outbox.given_up_lately()
        late = (timezone.now() - oldest[0]).total_seconds() if oldest else 0
    except DatabaseError:
        return JsonResponse({"database": "away"}, status=503)
    facts = {
        "database": "up",
        "migrations_waiting": behind,
        "guards_missing": guards,
        "oldest_job_seconds": max(0, round(late)),
        "jobs_given_up_in_a_week": given_up,
    }
    return JsonResponse(facts, status=503 if behind or guards else 200)


urls: list[URLPattern] = [
    path("account/", account, name="account"),
    path("account/qualification/", qualification, name="qualification"),
    path("account/password/", password, name="password"),
    path("account/sessions/", sessions, name="sessions"),
    path("account/sessions/end/", sessions_end, name="sessions_end"),
    path("account/sessions/<str:name>/end/", session_end, name="session_end"),
    path("acting-for/", choose_membership, name="choose_membership"),
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
]
