"""The contractor's own instruments."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from itm.accounts.actor import require_kind
from itm.core.figures import day, plainly
from itm.records.last_digits import last_digits
from itm.records.repeatability import history
from itm.registry import certificates, queries, retiring, services
from itm.registry.certificates import in_force
from itm.registry.forms import CertificateForm, InstrumentForm, WithdrawForm
from itm.registry.oddities import odd
from itm.schedule.calibrations import standing_of
from itm.web.attached import add_at, attached
from itm.web.editing import Crumbs, edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, show, wanted

METHOD = Narrow("method", "Reads", queries.METHODS)


@signed_in
@require_GET
def instruments(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request, (METHOD,))
    keeps = actor.kind == "contractor"
    listed = List(
        title="Instruments",
        lead="What your crews read the bench and the flows with.",
        columns=(
            Column("Instrument", "name"),
            Column("Serial number", "serial_number"),
            Column("Reads", "method"),
            Column("One step", "resolution", number=True),
            Column("Calibration due", "due_on", number=True),
        ),
        cells=lambda row: (
            Cell(row.name, reverse("instrument", args=[row.key])),
            Cell(row.serial_number),
            Cell(row.get_method_display()),
            Cell(row.steps_in_words, number=True),
            Cell(day(row.due_on) or "not on record", number=True),
        ),
        empty="No instrument yet. A bench needs one: a refractometer or a conductivity meter."
        if keeps
        else "Instruments belong to contractors; you read of them in the records that name them.",
        step=Step("Add an instrument", reverse("instrument_new")) if keeps else None,
        narrows=(METHOD,),
    )
    return show(request, listed, queries.instruments(actor, asked, site_date()), asked)


@signed_in
@require_GET
def instrument(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.instrument(actor, key)
    today, known = site_date(), queries.certificates_of(actor, row)
    now = in_force(known, today)
    stands = standing_of(now, timezone.now()) if now is not None and now.due_on else None
    context = {
        "instrument": row,
        "odd": odd(row),
        "repeatability": f"{row.repeatability.normalize():f}" if row.repeatability else "",
        "records": scatter(row),
        "digits": last_digits(row),
        "mine": queries.may_change(actor, row),
        "retires": retiring.may_retire(actor, row),
        "now": now,
        "stands": stands,
        "late": stands is not None and stands.name == "overdue",
        "attached": (files := attached(actor, row)),
        "certificates": [
            (one, add_at(actor, one, None), scans_of(files, one))
            for one in known
            if not one.withdrawn_because
        ],
        "withdrawn": [one for one in known if one.withdrawn_because],
        "crumbs": [("Instruments", reverse("instruments")), (row.name, "")],
    }
    return render(request, "registry/instrument.html", context)


def scans_of(files: dict[str, Any], certificate: queries.Certificate) -> list[Any]:
    """Those in force of the files that hang on it."""
    return [
        row for row, _ in files["rows"] if row.certificate == certificate and not row.withdrawn_at
    ]


def scatter(row: queries.Instrument) -> dict[str, str]:
    """What its sealed benches say, and how much of it there is."""
    known = history(row)
    if known is None:
        return {}
    repeats = f"{known.degrees_of_freedom:g} repeat{'s'[: known.degrees_of_freedom != 1]}"
    return {
        "shown": plainly(known.standard_deviation, 2) if known.standard_deviation else "",
        "rests_on": f"{repeats} in {known.bottles} bottle{'s'[: known.bottles != 1]} on "
        f"{known.benches} sealed bench{'es'[: 2 * (known.benches != 1)]}",
    }


@signed_in
@require_http_methods(["GET", "POST"])
def instrument_new(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    require_kind(actor, "contractor", what="add an instrument")
    form = InstrumentForm(request.POST, organisation=actor.organisation)
    return edit(
        request, form=form, wide=True,
        write=lambda: services.add_instrument(actor=actor, **form.values),
        to=lambda row: reverse("instrument", args=[row.key]),
        title="Add an instrument", save="Add the instrument", said="{} is in your list.",
        back=reverse("instruments"), crumbs=[("Instruments", reverse("instruments"))],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def instrument_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.instrument(actor, key)
    services.require_own(actor, row, "change an instrument")
    form = InstrumentForm(request.POST, row=row)
    there = reverse("instrument", args=[key])
    return edit(
        request, form=form, wide=True,
        write=lambda: services.change_instrument(actor=actor, instrument=row, **form.values),
        to=lambda _: there,
        title=f"Change {row}", back=there,
        crumbs=[("Instruments", reverse("instruments")), (row.name, there)],
    )  # fmt: skip


def crumbs_to(row: queries.Instrument) -> Crumbs:
    return [
        ("Instruments", reverse("instruments")),
        (row.name, reverse("instrument", args=[row.key])),
    ]


@signed_in
@require_http_methods(["GET", "POST"])
def certificate_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.instrument(actor, key)
    services.require_own(actor, row, "add a certificate of an instrument")
    form = CertificateForm(request.POST, instrument=row)
    there = reverse("instrument", args=[key])
    return edit(
        request, form=form, to=lambda _: there, back=there, crumbs=crumbs_to(row),
        write=lambda: certificates.add_certificate(
            actor=actor, instrument=row, today=site_date(), **form.values
        ),
        title="Add a certificate", save="Add the certificate", said="Certificate {} is kept.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def certificate_edit(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.certificate(actor, key)
    services.require_own(actor, row.instrument, "change a certificate of an instrument")
    form = CertificateForm(request.POST, row=row)
    there = reverse("instrument", args=[row.instrument.key])
    return edit(
        request, form=form, to=lambda _: there, back=there, crumbs=crumbs_to(row.instrument),
        write=lambda: certificates.change_certificate(
            actor=actor, certificate=row, today=site_date(), **form.values
        ),
        title=f"Put certificate {row} right",
        lead="Sealed records keep what stood here when they were sealed.",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def certificate_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.certificate(actor, key)
    services.require_own(actor, row.instrument, "withdraw a certificate of an instrument")
    form = WithdrawForm(request.POST or None)
    there = reverse("instrument", args=[row.instrument.key])
    return edit(
        request, form=form, to=lambda _: there, back=there, crumbs=crumbs_to(row.instrument),
        write=lambda: certificates.withdraw_certificate(
            actor=actor, certificate=row, **form.cleaned_data
        ),
        title=f"Withdraw certificate {row}", save="Withdraw", said="Withdrawn: certificate {}.",
        lead="It was entered by mistake: it counts for nothing from now on and stays to be read "
        "with the reason.",
    )  # fmt: skip


urls: list[URLPattern] = [
    path("instruments/<uuid:key>/certificates/new/", certificate_new, name="certificate_new"),
    path("certificates/<uuid:key>/edit/", certificate_edit, name="certificate_edit"),
    path("certificates/<uuid:key>/withdraw/", certificate_withdraw, name="certificate_withdraw"),
    path("instruments/", instruments, name="instruments"),
    path("instruments/new/", instrument_new, name="instrument_new"),
    path("instruments/<uuid:key>/", instrument, name="instrument"),
    path("instruments/<uuid:key>/edit/", instrument_edit, name="instrument_edit"),
]
