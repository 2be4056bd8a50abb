"""The edge of the pages: who acts, and how a refusal is answered."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from itm.accounts import proving
from itm.accounts.actor import acting, open_memberships
from itm.core.errors import Conflict, Forbidden, Gone, ItmError, NotFound, TooMany
from itm.core.measures import Measures, reading_in
from itm.web.proving import PROVED


class ActorMiddleware:
    """Sets `request.actor` from the membership the person chose, or the oldest open one, and the
    units in which that person reads."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.actor = None  # type: ignore[attr-defined]
        if request.user.is_authenticated:
            now = timezone.now()
            today = now.date()
            request.session.note_use(now)  # type: ignore[attr-defined]
            rows = open_memberships(request.user, today)
            chosen = request.session.get("membership")
            membership = next((m for m in rows if str(m.key) == chosen), rows[0] if rows else None)
            if membership is not None:
                proved = proving.is_fresh(request.session.get(PROVED), now)
                request.actor = acting(membership, today, at=now, proved=proved)  # type: ignore[attr-defined]
        chosen = request.user.measures if request.user.is_authenticated else Measures.SI
        with reading_in(chosen):
            return self.get_response(request)


class RefusalMiddleware:
    """Words the refusals that views let pass, one way for every page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, ItmError):
            return None
        if isinstance(error, NotFound):
            return render(request, "404.html", {"sentence": error.sentence}, status=404)
        if isinstance(error, Forbidden):
            return render(request, "403.html", {"sentence": error.sentence}, status=403)
        back = request.headers.get("Referer", "")
        if request.method == "POST" and url_has_allowed_host_and_scheme(
            back, {request.get_host()}, require_https=request.is_secure()
        ):
            messages.error(request, error.sentence)
            return HttpResponseRedirect(back)
        status = {Conflict: 409, Gone: 410, TooMany: 429}.get(type(error), 422)
        answer = render(request, "refused.html", {"sentence": error.sentence}, status=status)
        if isinstance(error, TooMany):
            answer["Retry-After"] = str(error.seconds)
        return answer
