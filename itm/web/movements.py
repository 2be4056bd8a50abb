"""What goes into a tank and out of it: noted, put right, withdrawn; nothing is edited away."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.actions import keep_book
from itm.core.errors import NotFound
from itm.core.figures import day
from itm.records.cautions import TANK
from itm.registry import queries, services
from itm.registry.forms import MovementForm, WithdrawForm
from itm.web.concentrate import crumbs_to_tank
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in

# As it stands in the address: (kind, title).
KINDS = {
    "fill": ("fill", "Note a fill"),
    "top-up": ("top_up", "Note a top-up"),
    "draw-off": ("draw_off", "Note a draw-off"),
    "drain": ("drain", "Note that it was drained"),
}
LEADS = {
    "fill": "A lot goes into an empty tank.",
    "top_up": "A lot goes onto what stands in the tank.",
    "draw_off": "Part of what stands in the tank came out, every lot in proportion.",
    "drain": "The tank is empty after it.",
}


@signed_in
@require_http_methods(["GET", "POST"])
def movement_new(request: HttpRequest, key: UUID, kind: str) -> HttpResponse:
    actor = actor_of(request)
    tank = queries.tank(actor, key)
    if kind not in KINDS:
        raise NotFound("kind of movement", kind)
    what, title = KINDS[kind]
    services.require_own(actor, tank, "note what goes into a tank or out of it")
    services.require_in_use(tank, "tank")
    form = MovementForm(request.POST, actor=actor, kind=what, tank=tank)

    def write() -> Any:
        values = {**form.values, "kind": what}
        return keep_book.move(
            actor=actor, tank=tank, today=site_date(tank.site.time_zone), at=timezone.now(),
            **values,
        )  # fmt: skip

    return edit(
        request, form=form, write=write, to=lambda _: reverse("tank", args=[key]),
        title=title, save=title, said="Noted: {}.", lead=LEADS[what], caution=TANK,
        choose="lot" not in form.fields or queries.lots_to_choose(actor).exists(),
        template="registry/movement_form.html", back=reverse("tank", args=[key]),
        crumbs=crumbs_to_tank(tank),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def movement_correct(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.movement(actor, key)
    services.require_own(actor, row, "put a movement right")
    form = MovementForm(request.POST, actor=actor, kind=row.kind, row=row)
    there = reverse("tank", args=[row.tank.key])
    return edit(
        request, form=form, choose=True,
        write=lambda: keep_book.correct(
            actor=actor, movement=row, today=site_date(row.tank.site.time_zone),
            at=timezone.now(), **form.values,
        ),
        to=lambda _: there, title=f"Put the {row.get_kind_display().lower()} right",
        lead=f"{row}, {day(row.moved_on)}. The right one takes its place; this one stays to be "
        "read with the reason.",
        said="Noted instead: {}.", template="registry/movement_form.html", back=there,
        crumbs=crumbs_to_tank(row.tank),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def movement_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.movement(actor, key)
    services.require_own(actor, row, "withdraw a movement")
    form = WithdrawForm(request.POST or None)
    there = reverse("tank", args=[row.tank.key])
    return edit(
        request, form=form,
        write=lambda: keep_book.withdraw(
            actor=actor, movement=row, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, title=f"Withdraw the {row.get_kind_display().lower()}",
        save="Withdraw", said="Withdrawn: {}.",
        lead=f"{row}, {day(row.moved_on)}. It never took place: it counts for nothing from now on "
        "and stays to be read with the reason.",
        back=there, crumbs=crumbs_to_tank(row.tank),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("tanks/<uuid:key>/movements/<slug:kind>/", movement_new, name="movement_new"),
    path("movements/<uuid:key>/correct/", movement_correct, name="movement_correct"),
    path("movements/<uuid:key>/withdraw/", movement_withdraw, name="movement_withdraw"),
]
