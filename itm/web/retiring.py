"""Out of use from a day on, and back again: the same two steps for all equipment."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from itm.accounts.actor import Actor
from itm.actions import retire as actions
from itm.core.clock import FIRST_TO_BEGIN
from itm.registry import queries, queries_equipment, retiring
from itm.registry.forms import RetireForm
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in

FOUND: dict[str, Callable[[Actor, UUID], Any]] = {
    "site": queries.site,
    "system": queries.system,
    "proportioner": queries.proportioner,
    "tank": queries.tank,
    "equipment": queries_equipment.equipment,
    "instrument": queries.instrument,
}


@signed_in
@require_http_methods(["GET", "POST"])
def retire(request: HttpRequest, key: UUID, what: str) -> HttpResponse:
    actor = actor_of(request)
    row = FOUND[what](actor, key)
    retiring.require_retirer(actor, row, "retire this")
    site = queries.site_of(row)
    today = site_date(site.time_zone if site else FIRST_TO_BEGIN)
    form = RetireForm(request.POST or None, initial={"retired_on": today})
    there = reverse(what, args=[key])

    def write() -> Any:
        done = actions.retire(actor=actor, row=row, on=form.cleaned_data["retired_on"], today=today)
        undo = reverse(f"{what}_take_back", args=[key])
        messages.success(request, f"Retired: {done}. It stays readable.", extra_tags=undo)
        return done

    return edit(
        request, form=form, write=write, to=lambda _: there, said="",
        title=f"Retire {row}", save="Retire", back=there,
        lead="It leaves the lists of what is in use and nothing more is due on it. Its records and "
        f"its history stay, and you can take this back.{_along(row)}",
        crumbs=[(f"{row}", there)],
    )  # fmt: skip


def _along(row: Any) -> str:
    count = retiring.leaves_along(row)
    if not count:
        return ""
    return f" What stands there leaves and comes back with it: {count} in the list of equipment."


@signed_in
@require_POST
def take_back(request: HttpRequest, key: UUID, what: str) -> HttpResponse:
    actor = actor_of(request)
    row = actions.take_back(actor=actor, row=FOUND[what](actor, key), at=timezone.now())
    messages.success(request, f"In use again: {row}.")
    return redirect(what, key)


urls: list[URLPattern] = []
for name in FOUND:
    folder = name if name == "equipment" else f"{name}s"
    urls += [
        path(f"{folder}/<uuid:key>/retire/", retire, {"what": name}, name=f"{name}_retire"),
        path(
            f"{folder}/<uuid:key>/take-back/", take_back, {"what": name}, name=f"{name}_take_back"
        ),
    ]
