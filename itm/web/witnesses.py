"""The signature of an authority that was there: given on a sealed record, and withdrawn."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from itm.core.errors import Refused
from itm.core.figures import day
from itm.records import check_queries, queries, witnessing
from itm.records.record_forms import WitnessForm
from itm.registry.access import require_authority
from itm.registry.forms import WithdrawForm
from itm.web import proving
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.record_steps import known_of
from itm.web.sites import crumbs_to
from itm.web.wrong import page_of


@signed_in
@require_http_methods(["GET", "POST"])
def test_witness(request: HttpRequest, key: UUID) -> HttpResponse:
    return _sign(request, queries.test(actor_of(request), key))


test_witness.__test__ = False  # type: ignore[attr-defined]  # a page, whatever its name


@signed_in
@require_http_methods(["GET", "POST"])
def check_witness(request: HttpRequest, key: UUID) -> HttpResponse:
    return _sign(request, check_queries.check(actor_of(request), key))


def _sign(request: HttpRequest, record: Any) -> HttpResponse:
    actor, there = actor_of(request), page_of(record)
    require_authority(actor, record.site)
    if record.state != record.State.SEALED:
        raise Refused("not_sealed", "A witness signs a record that is sealed.")
    known = known_of(actor)
    known.pop("valid_until", None)
    form: Any = WitnessForm(
        request.POST or None, initial={"present_on": witnessing.day_of(record), **known}
    )
    form = proving.asking(request, form)
    return edit(
        request, form=form, title="Sign as a witness", save="Sign as a witness",
        write=lambda: witnessing.sign_as_witness(
            actor=proving.proved(request, form), record=record, at=timezone.now(),
            **form.cleaned_data,
        ),
        lead=f"{record}. You sign that you were there and saw what you tick, for the record whose "
        f"digest begins with {record.seal.digest[:16]}. It judges nothing and changes no result.",
        to=lambda _: there, back=there, said="Signed as a witness.",
        crumbs=[*crumbs_to(record.site), ("Record", there)],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def witness_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = witnessing.witness(actor, key)
    witnessing.require_signer(actor, row)
    there = page_of(row.record)
    form = proving.asking(request, WithdrawForm(request.POST or None))
    return edit(
        request, form=form, title="Withdraw the signature", save="Withdraw",
        write=lambda: witnessing.withdraw(
            actor=proving.proved(request, form), row=row, at=timezone.now(), **form.cleaned_data
        ),
        lead=f"{row.name} signed that on {day(row.present_on)}. It stays to be read with the "
        "reason.",
        to=lambda _: there, back=there, said="Withdrawn.",
        crumbs=[*crumbs_to(row.site), ("Record", there)],
    )  # fmt: skip


urls: list[URLPattern] = [
    path("tests/<uuid:key>/witness/", test_witness, name="test_witness"),
    path("checks/<uuid:key>/witness/", check_witness, name="check_witness"),
    path("witnesses/<uuid:key>/withdraw/", witness_withdraw, name="witness_withdraw"),
]
