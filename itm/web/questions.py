"""What an authority asks about a record and what it orders; the answers, and their ends."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.core.figures import day, instant
from itm.findings import asking, forms, queries
from itm.records import check_queries
from itm.records import queries as records
from itm.registry import queries as registry
from itm.registry.access import require_authority
from itm.registry.forms import WithdrawForm
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, show, wanted
from itm.web.sites import crumbs_to
from itm.web.wrong import deficiency_asked_for, page_of, visit_asked_for

STANDS = Narrow("stands", "Stands", (("open", "open"), ("closed", "closed")))
ORDERS = Narrow(
    "stands", "Stands", (("open", "open"), ("closed", "met"), ("withdrawn", "withdrawn"))
)


@signed_in
@require_GET
def questions(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request, (STANDS,))
    listed = List(
        title="Questions",
        lead="What an authority asked on a record, open ones first.",
        columns=(
            Column("Question"), Column("Site"), Column("On"), Column("Asked by"),
            Column("Asked", number=True), Column("Answers", number=True), Column("Stands"),
        ),
        cells=lambda row: (
            Cell(row.words[:120], reverse("question", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(str(row.record), page_of(row.record)),
            Cell(row.organisation.name),
            Cell(instant(row.asked_at, row.site.time_zone), number=True),
            Cell(str(row.said), number=True),
            Cell("closed" if row.closed_at else "open"),
        ),
        empty="Nothing was asked yet. An authority asks on the page of a sealed record.",
        retirable=False,
        narrows=(STANDS,),
        beside=(Step("Deficiencies", reverse("deficiencies")), Step("Orders", reverse("orders"))),
    )  # fmt: skip
    return show(request, listed, queries.questions(actor, asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def test_question_new(request: HttpRequest, key: UUID) -> HttpResponse:
    return _ask(request, records.test(actor_of(request), key))


test_question_new.__test__ = False  # type: ignore[attr-defined]  # a page, whatever its name


@signed_in
@require_http_methods(["GET", "POST"])
def check_question_new(request: HttpRequest, key: UUID) -> HttpResponse:
    return _ask(request, check_queries.check(actor_of(request), key))


def _ask(request: HttpRequest, record: Any) -> HttpResponse:
    actor, there = actor_of(request), page_of(record)
    require_authority(actor, record.site)
    form = forms.QuestionForm(request.POST or None)
    return edit(
        request, form=form, title="Ask about this record", save="Ask",
        write=lambda: asking.ask(
            actor=actor, record=record, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda row: reverse("question", args=[row.key]), said="Asked.", back=there,
        lead=f"{record}. Owner and contractor read the question and can answer it.",
        crumbs=[*crumbs_to(record.site), ("Record", there)],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def question(request: HttpRequest, key: UUID) -> HttpResponse:
    """The question with its answers, and a form for one more."""
    actor = actor_of(request)
    row = queries.question(actor, key)
    form = forms.AnswerForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            with form.refusals():
                asking.answer(actor=actor, question=row, at=timezone.now(), **form.cleaned_data)
                messages.success(request, "Answered.")
                return redirect("question", key=key)
    context = {
        "row": row,
        "record": (str(row.record), page_of(row.record)),
        "zone": row.site.time_zone,
        "answers": queries.answers_of(row),
        "form": form,
        "closes": row.closed_at is None and row.organisation_id == actor.organisation_id,
        "crumbs": [*crumbs_to(row.site), ("Questions", reverse("questions")), ("Question", "")],
    }
    return render(request, "findings/question.html", context, status=status)


@signed_in
@require_POST
def question_close(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    asking.close_question(actor=actor, question=queries.question(actor, key), at=timezone.now())
    messages.success(request, "The question is closed.")
    return redirect("question", key=key)


# Orders -------------------------------------------------------------------------------------------


@signed_in
@require_GET
def orders(request: HttpRequest) -> HttpResponse:
    actor, asked = actor_of(request), wanted(request, (ORDERS,))
    listed = List(
        title="Orders",
        lead="What an authority wants done by a day, open ones first.",
        columns=(
            Column("Order"), Column("Site"), Column("By", number=True), Column("Made by"),
            Column("Seen by the owner"), Column("Stands"),
        ),
        cells=lambda row: (
            Cell(row.words[:120], reverse("order", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(day(row.due_on), number=True),
            Cell(row.organisation.name),
            Cell(row.seen_by or "not yet"),
            Cell(row.stands(site_date(row.site.time_zone))),
        ),
        empty="No order was made. An authority makes one on the page of a deficiency or of a site.",
        retirable=False,
        narrows=(ORDERS,),
        beside=(Step("Deficiencies", reverse("deficiencies")),
                Step("Questions", reverse("questions")),
                Step("Visits of an authority", reverse("authority_visits"))),
    )  # fmt: skip
    return show(request, listed, queries.orders(actor, asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def order_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    require_authority(actor, site)
    cause = deficiency_asked_for(request, site)
    visit = visit_asked_for(request, site)
    there = reverse("deficiency", args=[cause.key]) if cause else reverse("site", args=[key])
    about = f"About: {cause.words}" if cause else f"About {site}."
    if visit is not None:
        there = reverse("authority_visit", args=[visit.key])
        about = f"From the visit of {day(visit.visited_on)} to {site}."
    form = forms.OrderForm(request.POST or None)
    return edit(
        request, form=form, title="Order something by a day", save="Make the order",
        write=lambda: asking.order(
            actor=actor, site=site, deficiency=cause, authority_visit=visit, at=timezone.now(),
            **form.cleaned_data,
        ),
        to=lambda row: reverse("order", args=[row.key]), said="The order is made.", back=there,
        lead=about, crumbs=crumbs_to(site),
    )  # fmt: skip


@signed_in
@require_GET
def order(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.order(actor, key)
    context = {
        "row": row,
        "visit": row.authority_visit if actor.kind != "contractor" else None,
        "zone": row.site.time_zone,
        "stands": row.stands(site_date(row.site.time_zone)),
        "sees": row.is_open and row.seen_at is None and actor.organisation_id == row.site.owner_id,
        "meets": row.is_open and actor.organisation_id == row.organisation_id,
        "crumbs": [*crumbs_to(row.site), ("Orders", reverse("orders")), ("Order", "")],
    }
    return render(request, "findings/order.html", context)


@signed_in
@require_POST
def order_see(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    asking.see_order(actor=actor, order=queries.order(actor, key), at=timezone.now())
    messages.success(request, "Noted: the owner has seen this order.")
    return redirect("order", key=key)


@signed_in
@require_http_methods(["GET", "POST"])
def order_meet(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.order(actor, key)
    asking.require_maker(actor, row)
    form, there = forms.MetForm(request.POST or None), reverse("order", args=[key])
    return edit(
        request, form=form, title="The order is met", save="It is met", lead=row.words,
        write=lambda: asking.meet_order(
            actor=actor, order=row, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, back=there, said="The order is met.", crumbs=crumbs_to(row.site),
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def order_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.order(actor, key)
    asking.require_withdraw(actor, row)
    form, there = WithdrawForm(request.POST or None), reverse("order", args=[key])
    return edit(
        request, form=form, title="Withdraw the order", save="Withdraw",
        write=lambda: asking.withdraw_order(
            actor=actor, order=row, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, back=there, said="Withdrawn. The reason stands with it.",
        lead=f"It was made by mistake and asks for nothing any more: {row.words}",
        crumbs=crumbs_to(row.site),
    )  # fmt: skip


urls: list[URLPattern] = [
    path("questions/", questions, name="questions"),
    path("questions/<uuid:key>/", question, name="question"),
    path("questions/<uuid:key>/close/", question_close, name="question_close"),
    path("tests/<uuid:key>/questions/new/", test_question_new, name="test_question_new"),
    path("checks/<uuid:key>/questions/new/", check_question_new, name="check_question_new"),
    path("orders/", orders, name="orders"),
    path("orders/<uuid:key>/", order, name="order"),
    path("orders/<uuid:key>/seen/", order_see, name="order_see"),
    path("orders/<uuid:key>/met/", order_meet, name="order_meet"),
    path("orders/<uuid:key>/withdraw/", order_withdraw, name="order_withdraw"),
    path("sites/<uuid:key>/orders/new/", order_new, name="order_new"),
]
