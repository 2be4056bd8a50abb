"""What a program begins with: a page to read, the description, and a page to try it on."""

from functools import cache
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import URLPattern, path
from django.views.decorators.cache import cache_control
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator


@cache
def description() -> dict[str, Any]:
    """The same for everybody: it describes what there is, not what somebody may see."""
    found: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return found


@csrf_exempt  # so that a method that is not taken is told so, and not a missing form
@require_safe
@cache_control(max_age=300)
def schema(request: HttpRequest) -> HttpResponse:
    return JsonResponse(description(), json_dumps_params={"ensure_ascii": False})


urls: list[URLPattern] = [
    path("v1/schema/", schema, name="api_schema"),
]
