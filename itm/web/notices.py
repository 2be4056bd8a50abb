"""What a person is told of: the summary mail, the calendar, and the links that work without
signing in."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from itm.accounts.forms import PlainForm
from itm.core.errors import Refused
from itm.notices import calendar, news, services, stopping
from itm.notices.forms import AtOnceForm, SubjectsForm, WishForm
from itm.schedule import sweep
from itm.web import proving
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in


@signed_in
@never_cache
@require_http_methods(["GET", "POST"])
def notices(request: HttpRequest) -> HttpResponse:
    """The choice of the summary mail, and the calendar's address. The address is shown once."""
    actor = actor_of(request)
    wish = services.wish_of(actor)
    form = WishForm(request.POST or None, wish=wish)
    if request.method == "POST" and form.is_valid():
        services.choose(actor=actor, at=timezone.now(), **form.cleaned_data)
        messages.success(request, "Saved: what you are told of.")
        return redirect("notices")
    token = request.session.pop("feed_token", "")
    context = {
        "form": form,
        "at_once": AtOnceForm(wish=wish),
        "subjects": SubjectsForm(wish=wish),
        "wish": wish,
        "zones": form.zones(),
        "feed_url": request.build_absolute_uri(reverse("calendar_feed", args=[token]))
        if token
        else "",
        "email": actor.user.email if actor.user else "",
    }
    return render(request, "account/notices.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def mail_at_once(request: HttpRequest) -> HttpResponse:
    """Whether systems out of service and orders are mailed at once. A box only."""
    wanted = bool(request.POST.get("at_once"))
    services.choose_at_once(actor=actor_of(request), wanted=wanted)
    messages.success(request, "Saved: mailed at once." if wanted else "Saved: not mailed at once.")
    return redirect("notices")


@signed_in
@require_POST
def news_subjects(request: HttpRequest) -> HttpResponse:
    """Which news a person is told of inside the product. Boxes only: nothing can be mistyped."""
    form = SubjectsForm(request.POST)
    if not form.is_valid():
        raise Refused("not_valid", "Choose among the boxes of this page.", "subjects")
    news.choose_subjects(actor=actor_of(request), subjects=form.cleaned_data["subjects"])
    messages.success(request, "Saved: which news you are told.")
    return redirect("notices")


@signed_in
@require_http_methods(["GET", "POST"])
def feed_new(request: HttpRequest) -> HttpResponse:
    form = proving.asking(request, PlainForm(request.POST if request.method == "POST" else None))

    def write() -> None:
        by = proving.proved(request, form)
        request.session["feed_token"] = services.new_feed(actor=by, at=timezone.now())

    return edit(
        request, form=form, write=write, to=lambda _: reverse("notices"),
        title="A calendar address", save="Make the address", back=reverse("notices"),
        said="The calendar has a new address. It is shown this once.",
        lead="A new address ends the one before.",
        crumbs=[("What you are told of", reverse("notices"))],
    )  # fmt: skip


@signed_in
@require_POST
def feed_end(request: HttpRequest) -> HttpResponse:
    services.end_feed(actor=actor_of(request))
    messages.success(request, "The calendar's address no longer works.")
    return redirect("notices")


@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """For programs that read calendars: whoever knows the address reads it, and nobody else."""
    now = timezone.now()
    actor = services.reader_of(token, now)
    sweep.catch_up(now)
    answer = HttpResponse(calendar.feed(actor, now), content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="foam-systems.ics"'
    answer["Cache-Control"] = "private, max-age=900"
    answer["X-Robots-Tag"] = "noindex"
    return answer


@csrf_exempt  # mail programs send the one click without a page of ours (RFC 8058)
@never_cache
@require_http_methods(["GET", "POST"])
def unsubscribe(request: HttpRequest, token: str) -> HttpResponse:
    """A look changes nothing, since programs follow links on their own; the click does."""
    mails, membership = stopping.subscriber(token)
    if request.method == "POST":
        stopping.unsubscribe(token)
    context = {"mails": mails, "membership": membership, "done": request.method == "POST"}
    return render(request, "account/unsubscribe.html", context)


urls: list[URLPattern] = [
    path("notices/", notices, name="notices"),
    path("notices/at-once/", mail_at_once, name="mail_at_once"),
    path("notices/news/", news_subjects, name="news_subjects"),
    path("notices/calendar/new/", feed_new, name="feed_new"),
    path("notices/calendar/end/", feed_end, name="feed_end"),
    path("calendar/<str:token>.ics", calendar_feed, name="calendar_feed"),
    path("unsubscribe/<str:token>/", unsubscribe, name="unsubscribe"),
]
