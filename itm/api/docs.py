"""What a program begins with: a page to read, the description, and a page to try it on."""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
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


EXAMPLE = Path(__file__).parent / "examples" / "hand_in_day.py"


@dataclass(frozen=True)
class Parameter:
    name: str
    where: str
    required: bool
    means: str


@dataclass(frozen=True)
class Operation:
    """One method of one address, in words for a person."""

    id: str
    method: str
    path: str
    summary: str
    said: list[str]
    items: list[str]
    parameters: list[Parameter]
    bodies: list[tuple[str, str]]  # what it shows, and the JSON
    answers: list[tuple[str, str]]


@cache
def operations() -> list[Operation]:
    return [
        _operation(path, method, found)
        for path, methods in description()["paths"].items()
        for method, found in methods.items()
    ]


def _operation(path: str, method: str, found: dict[str, Any]) -> Operation:
    lines = [line.strip() for line in found["description"].replace("\n  - ", " ").splitlines()]
    plain = [line.replace("**", "").replace("`", "") for line in lines if line]
    return Operation(
        id=found["operationId"],
        method=method.upper(),
        path=path.removeprefix("/api/v1"),
        summary=found["summary"],
        said=[line for line in plain if not line.startswith("- ")],
        items=[line.removeprefix("- ") for line in plain if line.startswith("- ")],
        parameters=[_parameter(one) for one in found.get("parameters", [])],
        bodies=_examples(found),
        answers=[(status, _means(one)) for status, one in found["responses"].items()],
    )


def _parameter(one: dict[str, Any]) -> Parameter:
    shape = one["schema"]
    means = [one.get("description", "")]
    if "enum" in shape:
        means.append(f"One of {', '.join(map(str, shape['enum']))}.")
    if "default" in shape and shape["default"] != "":
        means.append(f"{shape['default']} where nothing is said.")
    where = {"query": "address", "path": "address", "header": "header"}[one["in"]]
    words = " ".join(part.split("\n\n* ")[0].strip() for part in means if part)
    return Parameter(one["name"], where, one.get("required", False), words)


def _examples(found: dict[str, Any]) -> list[tuple[str, str]]:
    return [
        (one.get("summary", ""), json.dumps(one["value"], indent=2, ensure_ascii=False))
        for content in found.get("requestBody", {}).get("content", {}).values()
        for one in content.get("examples", {}).values()
    ]


def _means(response: dict[str, Any]) -> str:
    return response.get("description") or "The answer."


@require_safe
def guide(request: HttpRequest) -> HttpResponse:
    context = {
        "address": request.build_absolute_uri("/api/v1/"),
        "most": settings.API_REQUESTS_A_MINUTE,
        "strangers": settings.API_STRANGERS_A_MINUTE,
        "example": EXAMPLE.read_text(),
        "operations": operations(),
    }
    return render(request, "api/docs.html", context)


@require_safe
def try_out(request: HttpRequest) -> HttpResponse:
    return render(request, "api/try.html")


urls: list[URLPattern] = [
    path("v1/schema/", schema, name="api_schema"),
    path("v1/docs/", guide, name="api_docs"),
    path("v1/docs/try/", try_out, name="api_try"),
]
