"""A proportioner or a piece of equipment comes to another system or tank of its site."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.views.decorators.http import require_http_methods, require_POST

from itm.actions.relocate import relocate, take_move_back
from itm.registry import queries, queries_equipment, services
from itm.registry.forms import MoveForm
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in

FOUND: dict[str, Any] = {
    "proportioner": queries.proportioner,
    "equipment": queries_equipment.equipment,
}


@signed_in
@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, key: UUID, what: str) -> HttpResponse:
    actor = actor_of(request)
    row = FOUND[what](actor, key)
    services.require_own(actor, row, "move this")
    services.require_in_use(row, "thing")
    site: Any = queries.site_of(row)
    today = site_date(site.time_zone)
    form = MoveForm(request.POST, row=row, initial={"moved_on": today})
    there = reverse(what, args=[key])

    def write() -> Any:
        done = relocate(actor=actor, row=row, today=today, **form.values)
        kept = None if form.values["on"] is None else queries_equipment.moves_of(actor, done)[0]
        undo = reverse("move_take_back", args=[kept.key]) if kept else ""
        said = f"Moved: {kept}." if kept else f"Put right: {done}."
        messages.success(request, said, extra_tags=undo)
        return done

    return edit(
        request, form=form, write=write, to=lambda _: there, said="",
        title=f"Move {row}", save="Move it", back=there,
        lead="Its records stay with it and keep the names they were signed under; this page will "
        "say where it stood and until when.",
        crumbs=[(site.name, reverse("site", args=[site.key])), (f"{row}", there)],
    )  # fmt: skip


@signed_in
@require_POST
def move_take_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    kept = queries_equipment.move(actor, key)
    today = site_date(kept.site.time_zone)
    row = take_move_back(actor=actor, move=kept, today=today)
    messages.success(request, f"Taken back: {row} stands where it stood.")
    return redirect("proportioner" if kept.proportioner_id else "equipment", row.key)


urls: list[URLPattern] = [
    path(
        "proportioners/<uuid:key>/move/", move, {"what": "proportioner"}, name="proportioner_move"
    ),
    path("equipment/<uuid:key>/move/", move, {"what": "equipment"}, name="equipment_move"),
    path("moves/<uuid:key>/take-back/", move_take_back, name="move_take_back"),
]
