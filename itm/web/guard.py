"""Who may open a page at all; what is on it is scoped by the queries."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.cache import never_cache

from itm.accounts.actor import Actor

View = Callable[..., HttpResponseBase]


def signed_in(view: View) -> View:
    """Strangers go to the sign-in page; a person without an organisation is told so."""

    @wraps(view)
    @login_required
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
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
