"""Who may open a page at all; what is on it is scoped by the queries."""

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from itm.accounts.actor import Actor

View = Callable[..., HttpResponseBase]


def signed_in(view: View) -> View:
    """Strangers go to the sign-in page; a person without an organisation is told so.

    What was posted after the session ended is not taken, and the page says how to get it back.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            lost = {"unsaved": "yes"} if request.method == "POST" else {}
            there = {"next": request.get_full_path(), **lost}
            return redirect(f"{reverse('sign_in')}?{urlencode(there, safe='/')}")
        if request.actor is None:  # type: ignore[attr-defined]
            return render(request, "account/no_organisation.html", status=403)
        return view(request, *args, **kwargs)

    return guarded


def actor_of(request: HttpRequest) -> Actor:
    """Who acts, on a page that `signed_in` guards."""
    return request.actor  # type: ignore[attr-defined]


def unlisted(view: View) -> View:
    """For who holds a link or a paper, not for search engines, and kept by no cache."""

    @wraps(view)
    @never_cache
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        response = view(request, *args, **kwargs)
        response.headers["X-Robots-Tag"] = "noindex, nofollow"
        return response

    return answered
