"""A tank and the systems that it feeds go over to a fluorine-free concentrate."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.actions import keep_book
from itm.core.figures import day
from itm.records.cautions import TANK
from itm.registry import queries, services
from itm.registry.changing_over import New, changeover
from itm.registry.forms import ChangeOverForm, WithdrawForm
from itm.web.concentrate import crumbs_to_tank
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in

PROVE = (
    "What was proved before was proved with another concentrate: nobody knows yet whether the "
    "proportioner mixes the new one right. The baseline starts anew with the next acceptance test "
    "that is passed. Ask the makers and the listing whether proportioner, foam makers and the "
    "required minutes fit the new concentrate."
)


@signed_in
@require_http_methods(["GET", "POST"])
def changeover_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    tank = queries.tank(actor, key)
    services.require_own(actor, tank, "change a system over")
    services.require_in_use(tank, "tank")
    form = ChangeOverForm(request.POST or None, actor=actor, tank=tank)

    def write() -> Any:
        rows = keep_book.change_over(
            actor=actor, tank=tank, new=New(**form.cleaned_data),
            today=site_date(tank.site.time_zone), at=timezone.now(),
        )  # fmt: skip
        messages.warning(request, PROVE)
        return ", ".join(str(row.system) for row in rows)

    return edit(
        request, form=form, write=write, to=lambda _: reverse("tank", args=[key]),
        title="Change over to a fluorine-free concentrate", save="Note the changeover",
        said="Changed over: {}.", caution=TANK,
        lead=f"{tank} was drained, cleaned and filled anew on one day, and every system that it "
        "feeds went over with it. Drain and fill are noted with it.",
        choose=form.fields["lot"].queryset.exists(),  # type: ignore[attr-defined]
        template="registry/movement_form.html", back=reverse("tank", args=[key]),
        crumbs=crumbs_to_tank(tank),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def changeover_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = changeover(actor, key)
    services.require_own(actor, row, "withdraw a changeover")
    form = WithdrawForm(request.POST or None)
    there = reverse("system", args=[row.system.key])
    return edit(
        request, form=form,
        write=lambda: keep_book.withdraw_changeover(
            actor=actor, changeover=row, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, title="Withdraw the changeover", save="Withdraw",
        said="Withdrawn: {}.",
        lead=f"{row}, {day(row.changed_on)}. It never took place: its drain and its fill of "
        f"{row.tank} are withdrawn with it, for every system that the tank fed.",
        back=there, crumbs=crumbs_to_tank(row.tank),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("tanks/<uuid:key>/changeover/", changeover_new, name="changeover_new"),
    path("changeovers/<uuid:key>/withdraw/", changeover_withdraw, name="changeover_withdraw"),
]
