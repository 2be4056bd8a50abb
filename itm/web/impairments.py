"""Impairments: the list, one of them with its rounds and clocks, opened and ended by hand."""

from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import leads
from itm.core.errors import NotFound
from itm.core.figures import instant
from itm.findings import clocks, forms, impairing, queries, rights
from itm.findings.wording import clock_words, lasting, since
from itm.registry import queries as registry
from itm.registry.access import works_at
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.life import life
from itm.web.listing import Cell, Column, List, Narrow, Step, show, wanted, within_site
from itm.web.sites import crumbs_to
from itm.web.wrong import deficiency_asked_for

STANDS = Narrow(
    "stands", "Stands",
    (("open", "out of service"), ("closed", "back in service"),
     ("taken_back", "started by mistake")),
)  # fmt: skip
CAUTION = (
    "the hazard is not protected as designed. Fire department, authority and whomever the adopted "
    "code names are told first; what stands in is theirs to accept."
)


@signed_in
@require_GET
def impairments(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    site, within = within_site(request)
    asked = wanted(request, (STANDS,), within)
    now = timezone.now()
    step = None
    if site is not None and works_at(actor, site) and site.retired_on is None:
        step = Step("Take systems out of service", reverse("impairment_new", args=[site.key]))
    listed = List(
        title="Impairments",
        lead="Systems out of service and for how long: for a test, or opened by hand.",
        columns=(
            Column("Why"),
            Column("Site", "site"),
            Column("Systems"),
            Column("Since", "started_at", number=True),
            Column("Lasted", number=True),
            Column("Coordinator"),
            Column("Back", "ended_at", number=True),
        ),
        cells=lambda row: (
            Cell(_why(row), reverse("impairment", args=[row.key])),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(", ".join(str(one.system) for one in row.systems.all())),
            Cell(instant(row.started_at, row.site.time_zone), number=True),
            Cell(_lasted(row, now), number=True),
            Cell(row.coordinated_by),
            Cell(_back(row), number=True),
        ),
        empty="No system was out of service on record. Starting a test day opens an impairment, "
        "and the page of a site opens one by hand.",
        step=step,
        retirable=False,
        beside=(Step("Deficiencies", reverse("deficiencies")),
                Step("Notice clocks", reverse("clocks"))),
        narrows=(STANDS,),
        within=within,
    )  # fmt: skip
    return show(request, listed, queries.impairments(actor, asked), asked)


def _why(row: Any) -> str:
    return "Started by mistake" if row.taken_back_at else row.why or "not noted"


def _lasted(row: Any, now: datetime) -> str:
    return "" if row.taken_back_at else since(row.started_at, row.ended_at or now)


def _back(row: Any) -> str:
    if row.taken_back_at:
        return f"taken back {instant(row.taken_back_at, row.site.time_zone)}"
    return instant(row.ended_at, row.site.time_zone) or "out of service"


@signed_in
@require_GET
def impairment(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = queries.impairment(actor, key)
    now, zone = timezone.now(), row.site.time_zone
    running = clocks.running([row], now).get(row.pk, [])
    steps = list(queries.steps_of(row))
    rounds: list[Any] = [step for step in steps if step.verb == "round"]
    visit_seen = row.visit is not None and queries.sees_visit(actor, row.visit)
    context = {
        "row": row,
        "zone": zone,
        "lasted": lasting((row.ended_at or now) - row.started_at),
        "systems": row.systems.all(),
        "clocks": [(one, clock_words(one, now)) for one in running],
        "rounds": [(step, instant(step.happened_at, zone)) for step in reversed(rounds)],
        "last_round": since(rounds[-1].happened_at, now) if rounds else "",
        "life": life(actor, row, [step for step in steps if step.verb != "round"]),
        "visit": row.visit if visit_seen else None,
        "notices": queries.notices_of(row) if visit_seen else [],
        "writes": rights.may_write(actor, row),
        "decides": row.is_open and row.visit_id is None and rights.may_decide(actor, row),
        "caution": CAUTION if row.is_open else "",
        "crumbs": [*crumbs_to(row.site), ("Impairment", "")],
    }
    return render(request, "findings/impairment.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    rights.require_work(actor, site)
    now = timezone.now()
    cause = deficiency_asked_for(request, site)
    form = forms.ImpairmentForm(
        request.POST or None, site=site, now=now, reason=cause.words[:200] if cause else ""
    )

    def write() -> Any:
        return impairing.open_by_hand(
            actor=actor, site=site, at=now, deficiency=cause, **form.cleaned_data
        )

    return edit(
        request, form=form, write=write, to=_address, title="Take systems out of service",
        save="They are out of service", said="{}", back=reverse("site", args=[key]),
        crumbs=crumbs_to(site), caution=CAUTION,
        lead="Owner and authority see it from now on, on every list that names the system. A test "
        "day opens its own when it is started.",
    )  # fmt: skip


def _address(row: Any) -> str:
    return reverse("impairment", args=[row.key])


def _deed(
    request: HttpRequest, key: UUID, *, require: Callable[[Any, Any], None], title: str,
    form: Callable[..., Any], write: Callable[..., Any], save: str = "Save", said: str = "Noted.",
) -> HttpResponse:  # fmt: skip
    actor = actor_of(request)
    row = queries.impairment(actor, key)
    require(actor, row)
    now, there = timezone.now(), _address(row)
    asked = form(row, now)

    def done() -> Any:
        return write(actor=actor, impairment=row, at=now, **asked.cleaned_data)

    return edit(
        request, form=asked, write=done, to=lambda _: there, title=title, save=save, said=said,
        lead=str(row), back=there, crumbs=[*crumbs_to(row.site), ("Impairment", there)],
        template="visits/form.html",
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_tell(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_write, title="Somebody was told",
        form=lambda row, now: forms.TellOfImpairmentForm(
            request.POST or None, impairment=row, zone=row.site.time_zone, now=now
        ),
        write=impairing.tell,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_arrange(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_write, title="What was arranged",
        form=lambda row, now: forms.ArrangeForm(
            request.POST or None, impairment=row, zone=row.site.time_zone, now=now
        ),
        write=impairing.arrange,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_round(request: HttpRequest, key: UUID) -> HttpResponse:
    person = actor_of(request).person
    return _deed(
        request, key, require=rights.require_write, title="Round of the fire watch",
        save="The round was walked",
        form=lambda row, now: forms.RoundForm(
            request.POST or None, zone=row.site.time_zone, now=now, who=person
        ),
        write=impairing.walk_round,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_change(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_write, title="Change the impairment",
        form=lambda row, now: forms.ChangeImpairmentForm(request.POST or None, row=row, now=now),
        write=impairing.change,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def impairment_end(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_decide, title="Back in service",
        save="They are back in service", said="Ended: {}.",
        form=lambda row, now: forms.EndImpairmentForm(
            request.POST or None, zone=row.site.time_zone, now=now
        ),
        write=impairing.end_by_hand,
    )  # fmt: skip


# Notice clocks ------------------------------------------------------------------------------------


@signed_in
@require_GET
def clocks_page(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    held: dict[int, list[Any]] = {}
    for one in queries.clock_adoptions(actor):
        held.setdefault(one.clock_id, []).append(one)
    context = {
        "clocks": [(clock, held.get(clock.pk, [])) for clock in queries.notice_clocks()],
        "adopts": actor.kind in ("owner", "authority") and leads(actor),
        "own": actor.organisation_id,
        "crumbs": [],
    }
    return render(request, "findings/clocks.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def clock_adopt(request: HttpRequest, code: str) -> HttpResponse:
    actor = actor_of(request)
    clock = queries.notice_clock(code)
    if clock is None:
        raise NotFound("notice clock", code)
    clocks.require_adopter(actor)
    form = forms.ClockForm(request.POST or None, actor=actor)
    there = reverse("clocks")
    return edit(
        request, form=form, title="Adopt a notice clock", save="It holds there",
        write=lambda: clocks.adopt_clock(
            actor=actor, clock=clock, at=timezone.now(), **form.cleaned_data
        ),
        to=lambda _: there, back=there, said="Adopted.", crumbs=[("Notice clocks", there)],
        lead=f"{clock.tell}, {clock.when}: {clock.words} Source: {clock.source}; "
        f"{clock.confidence}.",
    )  # fmt: skip


@signed_in
@require_POST
def clock_end(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = clocks.end_clock(
        actor=actor, adoption=queries.clock_adoption(actor, key), at=timezone.now()
    )
    messages.success(request, f"Ended: {row}. Today is its last day.")
    return redirect("clocks")


urls: list[URLPattern] = [
    path("impairments/", impairments, name="impairments"),
    path("impairments/<uuid:key>/", impairment, name="impairment"),
    path("sites/<uuid:key>/impairments/new/", impairment_new, name="impairment_new"),
    path("impairments/<uuid:key>/told/", impairment_tell, name="impairment_tell"),
    path("impairments/<uuid:key>/arranged/", impairment_arrange, name="impairment_arrange"),
    path("impairments/<uuid:key>/round/", impairment_round, name="impairment_round"),
    path("impairments/<uuid:key>/change/", impairment_change, name="impairment_change"),
    path("impairments/<uuid:key>/end/", impairment_end, name="impairment_end"),
    path("notice-clocks/", clocks_page, name="clocks"),
    path("notice-clocks/<slug:code>/adopt/", clock_adopt, name="clock_adopt"),
    path("notice-clocks/<uuid:key>/end/", clock_end, name="clock_end"),
]
