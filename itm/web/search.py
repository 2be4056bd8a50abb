"""Search over everything that is the reader's to see; what is looked for stands in the address."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_GET

from itm.registry.finding import LONGEST, looked_for
from itm.trends.search import Group, found
from itm.web.guard import actor_of, signed_in


@signed_in
@require_GET
def search(request: HttpRequest) -> HttpResponse:
    text = looked_for(request.GET.get("find", ""))
    groups = found(actor_of(request), text)
    context = {
        "find": text,
        "longest": LONGEST,
        "groups": [(group, _rest(group, text)) for group in groups],
        "crumbs": [],
    }
    return render(request, "search.html", context)


def _rest(group: Group, text: str) -> str:
    """The list with all of them; empty when everything is here already or there is no list."""
    if not group.more or not group.listed:
        return ""
    return f"{reverse(group.listed)}?{urlencode({'find': text, 'shown': 'all'})}"


urls: list[URLPattern] = [path("search/", search, name="search")]
