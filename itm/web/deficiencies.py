"""Deficiencies: the ageing list, one of them with its life, and what people do about it."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.actions.note_deficiency import add_pictures, note_deficiency
from itm.core.errors import Conflict, Refused
from itm.core.figures import day
from itm.findings import deciding, forms, queries, rights, rules
from itm.findings.spots import gone_of
from itm.registry import queries as registry
from itm.registry.access import works_at
from itm.registry.attaching import Upload
from itm.web.editing import edit, site_date
from itm.web.guard import actor_of, signed_in
from itm.web.life import life
from itm.web.listing import Cell, Column, List, Narrow, Step, show, wanted, within_site
from itm.web.sites import crumbs_to
from itm.web.summaries import pdf_links
from itm.web.tables import FORMATS, table_answer, table_paths
from itm.web.uploading import was_dropped

CLASSES = Narrow("class", "Class", queries.CLASSES)
CAUSES = Narrow("cause", "Shown by", queries.CAUSES)
STANDS = Narrow("stands", "Stands", queries.STANDS)
NARROWS = (STANDS, CLASSES, CAUSES)
CAUTION = (
    "an impairment is told to the owner before anybody leaves the site, and to whomever the "
    "adopted code names. What stands in meanwhile is for the authority having jurisdiction to "
    "accept."
)


@signed_in
@require_GET
def deficiencies(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    site, within = within_site(request)
    asked = wanted(request, NARROWS, within)
    step = None
    if site is not None and works_at(actor, site) and site.retired_on is None:
        step = Step("Note a deficiency", reverse("deficiency_new", args=[site.key]))
    query = f"?{request.GET.urlencode()}" if request.GET else ""
    tables = [
        Step(f"As a table ({form.upper()})", reverse(f"deficiencies_{form}") + query)
        for form in FORMATS
    ]
    tables += [
        Step(words, address + query)
        for words, address in pdf_links(lambda size: reverse("deficiencies_pdf", args=[size]))
    ]
    listed = List(
        title="Deficiencies",
        lead="What is wrong over all sites that are yours to see: open before closed, the worst "
        "and oldest first. Nothing closes by itself.",
        columns=(
            Column("What is wrong"),
            Column("Class", "class"),
            Column("Site", "site"),
            Column("At"),
            Column("Found on", "found_on", number=True),
            Column("Days open", number=True),
            Column("Sees to it", "responsible"),
            Column("Target", "target_on", number=True),
            Column("Stands"),
        ),
        cells=lambda row: (
            Cell(row.said, reverse("deficiency", args=[row.key])),
            Cell(row.classed),
            Cell(row.site.name, reverse("site", args=[row.site.key])),
            Cell(queries.where(row)),
            Cell(day(row.found_on), number=True),
            Cell(str(queries.days_open(row, actor.today)), number=True),
            Cell(", ".join(filter(None, (row.responsible, str(row.assigned or ""))))),
            Cell(day(row.target_on), number=True),
            Cell(stands(row)),
        ),
        empty="Nothing wrong is on record. A result outside its limits, an inspection that finds a "
        "fault and a line left out of service open one by themselves.",
        step=step,
        retirable=False,
        beside=(Step("Impairments", reverse("impairments")), Step("Orders", reverse("orders")),
                Step("Questions", reverse("questions")), *tables),
        narrows=NARROWS,
        within=within,
    )  # fmt: skip
    return show(request, listed, queries.deficiencies(actor, asked), asked)


def stands(row: Any) -> str:
    if not row.is_open:
        return row.get_outcome_display()
    return "open, a fix is proposed" if row.proposes else "open"


@signed_in
@require_GET
def deficiencies_table(request: HttpRequest, form: str) -> HttpResponse:
    """The same rows for a spreadsheet, narrowed and sorted as the list was."""
    actor = actor_of(request)
    _, within = within_site(request)
    rows = queries.deficiencies(actor, wanted(request, NARROWS, within))
    name = f"deficiencies-{actor.today.isoformat()}"
    return table_answer(name, form, queries.HEAD, queries.table(rows, actor.today))


@signed_in
@require_GET
def deficiency(request: HttpRequest, key: UUID) -> HttpResponse:
    return _page(request, key)


def _page(request: HttpRequest, key: UUID, *, status: int = 200) -> HttpResponse:
    actor = actor_of(request)
    row = queries.deficiency(actor, key)
    writes = row.is_open and rights.may_write(actor, row)
    steps = list(queries.steps_of(row))
    context = {
        "row": row,
        "where": queries.where(row),
        "thing": registry_page(row),
        "zone": row.site.time_zone,
        "days": queries.days_open(row, actor.today),
        "life": life(actor, row, steps),
        "rule": rules.source_of(row.ground),
        "told": any(step.verb == "told" for step in steps),
        "writes": writes,
        "tells": row.is_open and rights.may_tell(actor, row),
        "decides": row.is_open and rights.may_decide(actor, row),
        "assigns": row.is_open and actor.organisation_id == row.site.owner_id,
        "orders_it": row.is_open and actor.kind == "authority",
        "against": deciding.against(row) if row.is_open else [],
        "ends": row.is_open and deciding.may_end(row),
        "gone": gone_of(row) if row.is_open else "",
        "orders": queries.orders_about(actor, row),
        "impairments": list(row.impairments.all()),
        "caution": CAUTION if row.is_open and row.severity == 1 else "",
        "crumbs": [*crumbs_to(row.site), ("Deficiency", "")],
    }
    return render(request, "findings/deficiency.html", context, status=status)


def registry_page(row: Any) -> str:
    for name in ("proportioner", "tank", "equipment", "system"):
        if (thing := getattr(row, name)) is not None:
            return reverse(name, args=[thing.key])
    return reverse("site", args=[row.site.key])


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_new(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    site = registry.site(actor, key)
    rights.require_work(actor, site)
    refused = was_dropped(request) if request.method == "POST" else []
    form = forms.DeficiencyForm(
        request.POST, request.FILES, refused=refused, actor=actor, site=site,
        place=request.GET.get("at", ""), found_on=site_date(site.time_zone),
    )  # fmt: skip

    def write() -> Any:
        given = dict(form.cleaned_data)
        chosen, place = given.pop("chosen"), given.pop("place")
        return note_deficiency(
            actor=actor, site=site, thing=form.things.get(place, site), at=timezone.now(),
            uploads=[Upload(one, one.name) for one in chosen], **given,
        )  # fmt: skip

    return edit(
        request, form=form, write=write, to=_address, title="Note a deficiency", save="Note it",
        said="Noted: {}", back=reverse("site", args=[key]), crumbs=crumbs_to(site), caution=CAUTION,
        lead="What is seen and no form asks. Owner and authority see it from now on.",
    )  # fmt: skip


def _address(row: Any) -> str:
    return reverse("deficiency", args=[row.key])


# What is done about it ----------------------------------------------------------------------------

Require = Callable[[Any, Any], None]


def _deed(
    request: HttpRequest, key: UUID, *, require: Require, title: str, form: Callable[..., Any],
    write: Callable[..., Any], save: str = "Save", lead: str = "", said: str = "Noted.",
) -> HttpResponse:  # fmt: skip
    """One form about an open deficiency; `form` and `write` get the row and the time."""
    actor = actor_of(request)
    row = queries.deficiency(actor, key)
    require(actor, row)
    now, there = timezone.now(), _address(row)
    asked = form(row, now)

    def done() -> Any:
        return write(actor=actor, deficiency=row, at=now, **asked.cleaned_data)

    return edit(
        request, form=asked, write=done, to=lambda _: there, title=title, save=save, said=said,
        lead=lead or row.words, back=there, crumbs=[*crumbs_to(row.site), ("Deficiency", there)],
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_tell(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_tell, title="Somebody was told",
        form=lambda row, now: forms.TellForm(
            request.POST or None, zone=row.site.time_zone, now=now
        ),
        write=deciding.tell,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_class(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_decide, title="Another class", save="Change the class",
        form=lambda row, now: forms.ClassForm(
            request.POST or None, initial={"severity": row.severity}
        ),
        write=deciding.classify,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_assign(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    return _deed(
        request, key, title="Who sees to it",
        require=lambda who, row: rights.require_owner(who, row.site, "say who sees to it"),
        form=lambda row, now: forms.AssignForm(request.POST or None, actor=actor, row=row),
        write=deciding.assign,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_repair(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_write, title="It was repaired", save="Note the repair",
        form=lambda row, now: forms.RepairForm(
            request.POST or None, zone=row.site.time_zone, now=now
        ),
        write=deciding.note_repair,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_note(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_write, title="Add a note",
        form=lambda row, now: forms.NoteForm(request.POST or None), write=deciding.add_note,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_picture(request: HttpRequest, key: UUID) -> HttpResponse:
    refused = was_dropped(request) if request.method == "POST" else []

    def write(*, chosen: Any, **given: Any) -> Any:
        return add_pictures(uploads=[Upload(one, one.name) for one in chosen], **given)

    return _deed(
        request, key, require=rights.require_write, title="Add photos", save="Add",
        form=lambda row, now: forms.PicturesForm(request.POST, request.FILES, refused=refused),
        write=write,
    )  # fmt: skip


@signed_in
@require_http_methods(["GET", "POST"])
def deficiency_end(request: HttpRequest, key: UUID) -> HttpResponse:
    return _deed(
        request, key, require=rights.require_decide, title="End it without a fix", save="End it",
        form=lambda row, now: forms.EndForm(request.POST or None), write=deciding.end,
        said="Ended. The reason stands with it.",
    )  # fmt: skip


@signed_in
@require_POST
def deficiency_close(request: HttpRequest, key: UUID, step: UUID) -> HttpResponse:
    """Against the record or the repair that the page names."""
    actor = actor_of(request)
    row = queries.deficiency(actor, key)
    rights.require_decide(actor, row)
    chosen = queries.step(actor, row, step)
    try:
        deciding.close(actor=actor, deficiency=row, step=chosen, at=timezone.now())
    except (Refused, Conflict) as refusal:
        messages.error(request, refusal.sentence)
        return _page(request, key, status=422)
    messages.success(
        request, "Closed. What opened it and what shows the fix stand beside each other."
    )
    return redirect("deficiency", key=key)


urls: list[URLPattern] = [
    path("deficiencies/", deficiencies, name="deficiencies"),
    *table_paths("deficiencies/table", deficiencies_table, "deficiencies"),
    path("deficiencies/<uuid:key>/", deficiency, name="deficiency"),
    path("sites/<uuid:key>/deficiencies/new/", deficiency_new, name="deficiency_new"),
    path("deficiencies/<uuid:key>/told/", deficiency_tell, name="deficiency_tell"),
    path("deficiencies/<uuid:key>/class/", deficiency_class, name="deficiency_class"),
    path("deficiencies/<uuid:key>/assign/", deficiency_assign, name="deficiency_assign"),
    path("deficiencies/<uuid:key>/repair/", deficiency_repair, name="deficiency_repair"),
    path("deficiencies/<uuid:key>/note/", deficiency_note, name="deficiency_note"),
    path("deficiencies/<uuid:key>/photos/", deficiency_picture, name="deficiency_picture"),
    path("deficiencies/<uuid:key>/end/", deficiency_end, name="deficiency_end"),
    path("deficiencies/<uuid:key>/close/<uuid:step>/", deficiency_close, name="deficiency_close"),
]
