from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import URLPattern, URLResolver, include, path
from django.views import defaults

from itm.api import problems
from itm.web import errors

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/", include("itm.api.urls")),
    path("", include("itm.web.urls")),
]


def _asks_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    if _asks_api(request):
        return problems.bad_request(request, exception)
    return defaults.bad_request(request, exception)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponseBase:
    return (problems if _asks_api(request) else errors).forbidden(request, exception)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponseBase:
    return (problems if _asks_api(request) else errors).not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponseBase:
    return (problems if _asks_api(request) else errors).server_error(request)


handler400 = "itm.urls.bad_request"
handler403 = "itm.urls.forbidden"
handler404 = "itm.urls.not_found"
handler500 = "itm.urls.server_error"
