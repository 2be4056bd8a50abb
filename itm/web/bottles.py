"""The bottles of a concentrate check: filled, sent, answered."""

import uuid
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.core.figures import day
from itm.intake.layouts import kinds_for
from itm.records import check_queries as queries
from itm.records import sampling, states
from itm.records.cautions import TANK
from itm.records.check_forms import LaboratoryForm, SampleEditForm, SampleForm, WhyForm
from itm.registry.attaching import Upload
from itm.web.checks import crumbs
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, beside, show, wanted, within_site
from itm.web.serving import served, there
from itm.web.uploading import was_dropped

WAY = Narrow("way", "Where it is", queries.WAYS)


@signed_in
@require_GET
def bottles(request: HttpRequest) -> HttpResponse:
    """What was sent and is not answered stands first, the longest away before the others."""
    actor, (_, within) = actor_of(request), within_site(request)
    asked = wanted(request, (WAY,), within)

    def cells(row: Any) -> tuple[Cell, ...]:
        check = row.concentrate_check
        return (
            Cell(row.label, reverse("check", args=[check.key])),
            Cell(check.site.name, reverse("site", args=[check.site.key])),
            Cell(check.tank.tag, reverse("tank", args=[check.tank.key])),
            Cell(row.get_point_display()),
            Cell(day(row.sent_on)),
            Cell(row.laboratory),
            Cell(_days_away(row, site_date(check.site.time_zone))),
        )

    listed = List(
        title="Concentrate samples",
        lead="Bottles on their way to a result. Sending one completes nothing.",
        columns=(
            Column("Label", "label"),
            Column("Site", "site"),
            Column("Tank"),
            Column("Point"),
            Column("Sent", "sent"),
            Column("Laboratory", "laboratory"),
            Column("Result"),
        ),
        cells=cells,
        empty="No bottle yet that is yours to see. Bottles are noted on the page of their check.",
        step=Step("Values from a table", f"{reverse('import_new')}?kind=values")
        if kinds_for(actor.kind)
        else None,
        retirable=False,
        beside=beside("bottles"),
        narrows=(WAY,),
        within=within,
    )
    return show(request, listed, queries.listed_samples(actor, asked), asked)


def _days_away(row: Any, today: Any) -> str:
    if row.withdrawn_reason:
        return "withdrawn"
    if row.report is not None:
        return f"report of {day(row.report.reported_on)}"
    if row.sent_on is None or row.concentrate_check.state != "draft":
        return ""
    days = (today - row.sent_on).days
    return f"outstanding for {days} day{'s'[: days != 1]}"


def require_draft(request: HttpRequest, row: Any) -> None:
    states.require(actor_of(request), "change", row)


def to_check(row: Any) -> str:
    return f"{reverse('check', args=[row.key])}#bottles"


@signed_in
@require_http_methods(["GET", "POST"])
def bottle_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.check(actor, key)
    require_draft(request, row)
    now = timezone.now()
    points = [sample.point for sample in row.samples.all() if not sample.withdrawn_reason]
    usual = queries.usual_points(row)
    point = next((p for p in usual if p not in points), usual[0])
    initial = {
        "key": uuid.uuid4(), "point": point, "label": sampling.proposed_label(row, point),
        "taken_at": now,
    }  # fmt: skip
    form = SampleForm(request.POST or None, initial=initial, zone=row.site.time_zone, now=now)
    return edit(
        request, form=form, caution=TANK,
        write=lambda: sampling.add_sample(actor=actor, check=row, **form.cleaned_data),
        to=lambda _: to_check(row), title="Note a bottle", save="Note the bottle",
        said="{} is noted.",
        lead="Clean dry bottle, rinsed with the concentrate itself; what stood in the cock is "
        "drawn off first. Common practice, no published source.",
        back=to_check(row), crumbs=crumbs(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def bottle_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    sample = queries.sample(actor, key)
    row = queries.check(actor, sample.concentrate_check.key)
    require_draft(request, row)
    now = timezone.now()
    form = SampleEditForm(request.POST or None, row=sample, now=now)
    return edit(
        request, form=form, template="visits/form.html",
        write=lambda: sampling.change_sample(
            actor=actor, sample=sample, at=now, opened=form.opened, **form.cleaned_data
        ),
        to=lambda _: to_check(row), title=f"Bottle {sample}", said="Saved: {}.",
        back=to_check(row), crumbs=crumbs(row),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def bottle_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    sample = queries.sample(actor, key)
    row = queries.check(actor, sample.concentrate_check.key)
    require_draft(request, row)
    form = WhyForm(request.POST or None)

    def write() -> Any:
        done = sampling.withdraw_sample(actor=actor, sample=sample, **form.cleaned_data)
        undo = reverse("bottle_bring_back", args=[key])
        messages.success(request, f"Withdrawn: {done}.", extra_tags=undo)
        return done

    return edit(
        request, form=form, write=write, to=lambda _: to_check(row), said="",
        title=f"Withdraw bottle {sample}", save="Withdraw", back=to_check(row),
        crumbs=crumbs(row),
    )  # fmt: skip


@signed_in
@require_POST
def bottle_bring_back(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    sample = queries.sample(actor, key)
    row = queries.check(actor, sample.concentrate_check.key)
    require_draft(request, row)
    sampling.bring_back_sample(actor=actor, sample=sample)
    messages.success(request, f"{sample} counts again.")
    return redirect(to_check(row))


# The laboratory's paper -------------------------------------------------------------------------


@signed_in
@require_http_methods(["GET", "POST"])
def laboratory_report_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.check(actor, key)
    require_draft(request, row)
    refused = was_dropped(request) if request.method == "POST" else []
    waiting = [sample for sample in row.samples.all() if sample.under_way]
    initial = {
        "samples": [sample.key for sample in waiting],
        "laboratory": waiting[0].laboratory if waiting else "",
    }
    form = LaboratoryForm(request.POST, request.FILES, check=row, refused=refused, initial=initial)

    def write() -> Any:
        values = dict(form.cleaned_data)
        file = values.pop("chosen")
        return sampling.attach_report(
            actor=actor, check=row, upload=Upload(file, file.name), at=timezone.now(), **values
        )

    return edit(
        request, form=form, write=write, to=lambda _: to_check(row),
        title="Attach a laboratory’s report", save="Attach the report",
        said="Attached: {}. Now enter its values.",
        lead="Whoever may see the check may open it. Its values are entered bottle by bottle.",
        back=to_check(row), crumbs=crumbs(row),
    )  # fmt: skip


@signed_in
@require_GET
def laboratory_report_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    report = there(queries.laboratory_report(actor_of(request), key))
    saved = not report.content_type.startswith("image/")
    return served(report.file, report.content_type, report.name, saved=saved)


@signed_in
@require_http_methods(["GET", "POST"])
def laboratory_report_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    report = queries.laboratory_report(actor, key)
    row = queries.check(actor, report.concentrate_check.key)
    require_draft(request, row)
    form = WhyForm(request.POST or None)
    return edit(
        request, form=form,
        write=lambda: sampling.withdraw_report(actor=actor, report=report, **form.cleaned_data),
        to=lambda _: to_check(row), said="Withdrawn: {}. Its bottles wait for a report again.",
        title=f"Withdraw report {report}", save="Withdraw", back=to_check(row),
        crumbs=crumbs(row),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("bottles/", bottles, name="bottles"),
    path("checks/<uuid:key>/bottles/new/", bottle_new, name="bottle_new"),
    path("bottles/<uuid:key>/edit/", bottle_edit, name="bottle_edit"),
    path("bottles/<uuid:key>/withdraw/", bottle_withdraw, name="bottle_withdraw"),
    path("bottles/<uuid:key>/bring-back/", bottle_bring_back, name="bottle_bring_back"),
    path(
        "checks/<uuid:key>/laboratory-reports/new/", laboratory_report_new,
        name="laboratory_report_new",
    ),
    path(
        "laboratory-reports/<uuid:key>/file/", laboratory_report_file,
        name="laboratory_report_file",
    ),
    path(
        "laboratory-reports/<uuid:key>/withdraw/", laboratory_report_withdraw,
        name="laboratory_report_withdraw",
    ),
]  # fmt: skip
