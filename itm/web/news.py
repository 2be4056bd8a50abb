"""News: what came about since the last look, for one person. Every line leads to its thing."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from itm.notices import gathering
from itm.notices import news as notices
from itm.web.guard import actor_of, signed_in


@signed_in
@never_cache
@require_GET
def news(request: HttpRequest) -> HttpResponse:
    """The newest first; `?new=1` leaves out what was read."""
    actor = actor_of(request)
    gathering.gather(timezone.now())
    only_new = request.GET.get("new") == "1"
    page = notices.lines(actor, only_new=only_new, page=request.GET.get("page", 1))
    context = {
        "page": page,
        "only_new": only_new,
        "any_new": any(line.new for line in page.object_list),
        "newest": page.object_list[0].news if page.object_list else None,
        "days": notices.KEPT_DAYS,
    }
    return render(request, "account/news.html", context)


@signed_in
@never_cache
@require_GET
def news_open(request: HttpRequest, key: UUID) -> HttpResponse:
    """On to the thing; the line counts as read. A look that a program repeats does no harm."""
    actor = actor_of(request)
    line = notices.one(actor, key)
    notices.mark(actor=actor, key=key)
    return redirect(line.told.url or "news")


@signed_in
@require_POST
def news_mark(request: HttpRequest, key: UUID) -> HttpResponse:
    notices.mark(actor=actor_of(request), key=key, read=request.POST.get("as") != "new")
    return back(request)


@signed_in
@require_POST
def news_all(request: HttpRequest, key: UUID) -> HttpResponse:
    """Up to the newest line that was on the page."""
    notices.mark_all(actor=actor_of(request), up_to=key)
    messages.success(request, "Everything up to here is marked as read.")
    return redirect("news")


def back(request: HttpRequest) -> HttpResponse:
    """To the same page of the list."""
    query = request.POST.get("query", "")
    answer = redirect("news")
    if query.isascii() and "\n" not in query and query:
        answer["Location"] += f"?{query}"
    return answer


urls: list[URLPattern] = [
    path("news/", news, name="news"),
    path("news/<uuid:key>/", news_open, name="news_open"),
    path("news/<uuid:key>/mark/", news_mark, name="news_mark"),
    path("news/<uuid:key>/all/", news_all, name="news_all"),
]
