"""Field capture: the page that works without signal, and what it fetches and hands over.

The page, its worker and its manifest are the same for everybody and hold nobody's data: a copy of
them stays on a device that several people may use. Everything of a person comes as JSON.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO, cast
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import require_GET, require_POST

from itm.accounts.actor import Actor
from itm.doors import along, entries, papers, photos
from itm.doors import day as days
from itm.doors.day_round import rounds_of
from itm.doors.entry import Answer
from itm.registry.files import clean_name, too_large
from itm.web.guard import actor_of, signed_in
from itm.web.uploading import was_dropped

STATIC = Path(__file__).parent / "static"
MOST_ENTRIES = 200  # in one request; the page sends forty
# By their names as the page asks for them: what the pages of the product share, then its own.
SHARED = (
    "vendor/pico/pico.min.css",
    "itm.css",
    "visits.css",
    "field.css",
    "itm.js",
    "vendor/htmx/htmx.min.js",
    "vendor/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2",
    "vendor/fonts/atkinson-hyperlegible-next-latin-ext-wght-normal.woff2",
    "vendor/fonts/atkinson-hyperlegible-mono-latin-wght-normal.woff2",
    "vendor/fonts/noto-sans-latin-400-normal.woff2",
    "icons/mark.svg",
    "icons/chevron.svg",
    "icons/tick.svg",
    "icons/field-192.png",
)
WHOSE_PAGE: dict[str, Any] = {"actor": None, "nav": [], "messages": ()}  # nobody's


@lru_cache(maxsize=1)
def modules() -> tuple[str, ...]:
    """They import each other by their own names, so they are asked for by those, never hashed."""
    own = sorted(path.name for path in (STATIC / "field").glob("*.js"))
    return (*(f"field/{name}" for name in own), "vendor/idb/idb.js")


@lru_cache(maxsize=1)
def version() -> str:
    """Changes with any file that the page is made of, so that devices fetch the new one whole."""
    page = Path(settings.BASE_DIR) / "templates"
    templates = [page / "base.html", page / "field" / "field.html", page / "field" / "worker.js"]
    files = [STATIC / name for name in (*SHARED, *modules())]
    return hashlib.sha256(b"".join(file.read_bytes() for file in [*files, *templates])).hexdigest()


def kept_files() -> list[str]:
    """Every address that the page needs; one that is missing would keep the worker from coming."""
    own = [f"/{settings.STATIC_URL.strip('/')}/{name}" for name in modules()]
    shared = [static(name) for name in SHARED]
    return [reverse("field"), reverse("field_manifest"), *shared, *own]


@require_GET
@cache_control(no_cache=True)
def field(request: HttpRequest) -> HttpResponse:
    return render(request, "field/field.html", WHOSE_PAGE)


@require_GET
@cache_control(no_cache=True)
def field_worker(request: HttpRequest) -> HttpResponse:
    """From an address of its own, never hashed, so that the browser finds the next version."""
    context = {
        "version": version()[:16],
        "page": reverse("field"),
        "files": json.dumps(kept_files()),
    }
    return render(request, "field/worker.js", context, content_type="text/javascript")


@require_GET
@cache_control(no_cache=True)
def field_manifest(request: HttpRequest) -> HttpResponse:
    icons = [
        {"src": static(f"icons/field-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
        for size in (192, 512)
    ]
    manifest = {
        "name": "Foam ITM field capture",
        "short_name": "Foam ITM",
        "description": "The test day of a foam system, with or without signal.",
        "id": reverse("field"),
        "start_url": reverse("field"),
        "scope": reverse("field"),
        "display": "standalone",
        "background_color": "#fbfaf6",
        "theme_color": "#1d2b36",
        "icons": icons,
    }
    return JsonResponse(manifest, content_type="application/manifest+json")


def person_of(actor: Actor) -> dict[str, str]:
    """Whose store on the device: a person in one organisation, because days belong to both."""
    organisation = actor.organisation
    return {
        "key": f"{actor.person_key}.{organisation.key if organisation else ''}",
        "name": actor.person,
        "organisation": actor.organisation_name,
    }


@signed_in
@require_GET
@never_cache
def field_who(request: HttpRequest) -> HttpResponse:
    """Asked before each hand-over: a fresh token, and whether it is still the same person."""
    answer = {
        "person": person_of(actor_of(request)),
        "csrf": get_token(request),
        "server_now": timezone.now().isoformat(),
    }
    return JsonResponse(answer)


@signed_in
@require_GET
@never_cache
def field_days(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    return JsonResponse(
        {"person": person_of(actor), "days": [*days.days_of(actor), *rounds_of(actor)]}
    )


@signed_in
@require_GET
@never_cache
def field_day(request: HttpRequest, key: UUID) -> HttpResponse:
    """Asked with each round of a device that has the day, which says how much of it waits there."""
    day = along.day_for_device(
        actor_of(request), key, said=request.GET.dict(), at=timezone.now()
    )  # fmt: skip
    return JsonResponse(day)


@signed_in
@require_POST
def field_day_off(request: HttpRequest, key: UUID) -> HttpResponse:
    along.off_the_device(actor_of(request), key, said=request.POST.dict())
    return JsonResponse({})


@signed_in
@require_POST
def field_entries(request: HttpRequest) -> HttpResponse:
    """Entries in the order they were made; each has its own answer, whatever others got."""
    at = timezone.now()
    try:
        body = json.loads(request.body)
        asked = body["entries"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return _unreadable("Send an object with device_now and entries.")
    if not isinstance(asked, list) or len(asked) > MOST_ENTRIES:
        return _unreadable(f"Send a list of at most {MOST_ENTRIES} entries at a time.")
    answers = entries.take(
        actor=in_the_field(request), entries=asked, device_now=_clock(body.get("device_now")), at=at
    )
    return JsonResponse(
        {"server_now": at.isoformat(), "answers": [answer.as_json() for answer in answers]}
    )


@signed_in
@require_POST
def field_photos(request: HttpRequest) -> HttpResponse:
    """One photo of one thing, under the key that the device gave it."""
    at = timezone.now()
    if was_dropped(request):
        return _unreadable("The photo is too large.")
    file = request.FILES.get("file")
    if file is None:
        return _unreadable("Send key, of and file.")
    answer = photos.take_photo(
        actor=in_the_field(request),
        key=request.POST.get("key"),
        of=request.POST.get("of"),
        file=cast(BinaryIO, file.file),
        name=clean_name(file.name or ""),
        taken_at=request.POST.get("at"),
        at=at,
        device_now=_clock(request.POST.get("device_now")),
    )
    return JsonResponse(answer.as_json())


@signed_in
@require_POST
def field_papers(request: HttpRequest) -> HttpResponse:
    """One paper of a laboratory with its values, under the key that the device gave it."""
    at = timezone.now()
    if dropped := was_dropped(request):
        answer = Answer(
            str(request.POST.get("key"))[:64], "refused", "too_large", too_large(dropped[0]), "file"
        )
        return JsonResponse(answer.as_json())
    file = request.FILES.get("file")
    if file is None:
        return _unreadable("Send key, of, put and file.")
    answer = papers.take_paper(
        actor=in_the_field(request),
        key=request.POST.get("key"),
        of=request.POST.get("of"),
        put=request.POST.get("put"),
        file=cast(BinaryIO, file.file),
        name=clean_name(file.name or ""),
        kept_at=request.POST.get("at"),
        at=at,
    )
    return JsonResponse(answer.as_json())


def in_the_field(request: HttpRequest) -> Actor:
    return replace(actor_of(request), via="field")


def _clock(text: Any) -> datetime | None:
    """The device's clock as it sent; what cannot be read says nothing about it."""
    try:
        at = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return at if at.tzinfo else None


def _unreadable(sentence: str) -> HttpResponse:
    answer: Mapping[str, str] = {"code": "unreadable", "sentence": sentence}
    return JsonResponse(answer, status=400)


urls: list[URLPattern] = [
    path("field/", field, name="field"),
    path("field/worker.js", field_worker, name="field_worker"),
    path("field/app.webmanifest", field_manifest, name="field_manifest"),
    path("field/who/", field_who, name="field_who"),
    path("field/days/", field_days, name="field_days"),
    path("field/days/<uuid:key>/", field_day, name="field_day"),
    path("field/days/<uuid:key>/off/", field_day_off, name="field_day_off"),
    path("field/entries/", field_entries, name="field_entries"),
    path("field/photos/", field_photos, name="field_photos"),
    path("field/papers/", field_papers, name="field_papers"),
]
