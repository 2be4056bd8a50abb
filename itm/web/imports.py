"""Files with tables: handed in, asked about, shown before they are taken in, and taken back."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from itm.accounts.actor import require_kind
from itm.actions.undo_import import undo_import
from itm.core.errors import NotFound
from itm.core.figures import instant
from itm.doors.files import look_through, take_up
from itm.intake import layouts, upload_queries, uploads
from itm.intake.examples import csv_example, xlsx_example
from itm.intake.upload_forms import ColumnsForm, QuestionsForm, UndoForm, UploadForm
from itm.records import queries as records
from itm.web.editing import edit
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Cell, Column, List, Narrow, Step, beside, show, wanted
from itm.web.serving import served
from itm.web.uploading import was_dropped

KINDS = Narrow("kind", "Table", upload_queries.KINDS)
STATES = Narrow("state", "State", upload_queries.STATES)
TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
WHAT = "bring in a file"
CRUMBS = [("Imports", "/imports/")]


@signed_in
@require_GET
def imports(request: HttpRequest) -> HttpResponse:
    actor = actor_of(request)
    asked = wanted(request, (KINDS, STATES))
    may = bool(layouts.kinds_for(actor.kind))
    listed = List(
        title="Imports",
        lead="Files with tables that your organisation handed in, and what became of them.",
        columns=(
            Column("File", "name"),
            Column("Table", "kind"),
            Column("State"),
            Column("Rows", "rows", number=True),
            Column("Handed in", "added_at", number=True),
        ),
        cells=lambda row: (
            Cell(row.name, reverse("import", args=[row.key])),
            Cell(row.get_kind_display()),
            Cell(row.get_state_display()),
            Cell(f"{row.rows:,}" if row.rows else "", number=True),
            Cell(instant(row.added_at), number=True),
        ),
        empty="No file yet. What older papers report, values of concentrate bottles "
        "and the register can come in from a table, and readings from the page of their bench.",
        step=Step("Bring in a file", reverse("import_new")) if may else None,
        retirable=False,
        beside=beside("imports"),
        narrows=(KINDS, STATES),
    )
    return show(request, listed, upload_queries.listed(actor, asked), asked)


@signed_in
@require_http_methods(["GET", "POST"])
def import_new(request: HttpRequest) -> HttpResponse:
    """The file; with `test` in the address, readings of its bench, with `kind` that table."""
    actor = actor_of(request)
    require_kind(actor, "owner", "contractor", what=WHAT)
    test = _test_asked_for(request)
    refused = was_dropped(request) if request.method == "POST" else []
    given = (request.POST, request.FILES) if request.method == "POST" else ()
    form = UploadForm(
        *given, actor_kind=actor.kind, bench=test is not None, refused=refused,
        kind=request.GET.get("kind", ""),
    )  # fmt: skip

    def write() -> Any:
        chosen = form.cleaned_data["chosen"]
        row, repeated = uploads.take_in(
            actor=actor, kind=form.cleaned_data["kind"], file=chosen, name=chosen.name or "",
            at=timezone.now(), test=test,
        )  # fmt: skip
        if repeated:
            messages.info(request, "This very file is here already; nothing was added.")
            return row
        return look_through(actor=actor, row=uploads.upload(actor, row.key))

    bench = f"To the bench of {test.proportioner.tag}. " if test is not None else ""
    return edit(
        request, form=form, write=write, to=lambda row: reverse("import", args=[row.key]),
        title="Bring in a file", save="Hand in and look", said="", template="imports/new.html",
        lead=f"{bench}Nothing is taken in before you have seen what it holds.",
        kinds=form.kinds, test=test,
        back=reverse("bench", args=[test.key]) if test is not None else reverse("imports"),
        crumbs=CRUMBS,
    )  # fmt: skip


def _test_asked_for(request: HttpRequest) -> Any:
    asked = request.GET.get("test", "")
    if not asked:
        return None
    try:
        return records.test(actor_of(request), UUID(asked))
    except ValueError as error:
        raise NotFound("proportioning test", asked) from error


@signed_in
@require_GET
def import_page(request: HttpRequest, key: UUID) -> HttpResponse:
    row = uploads.upload(actor_of(request), key)
    return _page(request, row, QuestionsForm(questions=row.findings.get("questions", [])))


def _page(request: HttpRequest, row: Any, form: QuestionsForm, status: int = 200) -> HttpResponse:
    layout = layouts.layout_of(row)
    found = row.findings
    context = {
        "row": row,
        "found": found,
        "form": form,
        "open": sum(not (one["found"] or one.get("entry")) for one in found.get("questions", [])),
        "once": any(one.get("entry") for one in found.get("questions", [])),
        "settling": row.state in uploads.SETTLING,
        "checks": upload_queries.checks_with(actor_of(request), row),
        "busy": row.state in ("waiting", "taking"),
        "mapped": [
            (layout.column(name).label, found["names"][at])
            for name, at in found.get("columns", {}).items()
            if at < len(found["names"])
        ],
        "more": max(0, found.get("count", 0) - len(found.get("problems", []))),
        "crumbs": [*CRUMBS, (row.name, "")],
    }
    return render(request, "imports/import.html", context, status=status)


@signed_in
@require_POST
def import_answer(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = uploads.upload(actor, key)
    form = QuestionsForm(request.POST, questions=row.findings.get("questions", []))
    if form.is_valid():
        with form.refusals():
            uploads.answer(actor=actor, row=row, answers=form.answers())
            look_through(actor=actor, row=uploads.upload(actor, key))
            return redirect("import", key)
    return _page(request, row, form, status=422)


@signed_in
@require_POST
def import_again(request: HttpRequest, key: UUID) -> HttpResponse:
    """One more look, where the last was given up."""
    actor = actor_of(request)
    row = uploads.upload(actor, key)
    uploads.require_settling(row)
    look_through(actor=actor, row=row)
    return redirect("import", key)


@signed_in
@require_http_methods(["GET", "POST"])
def import_columns(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = uploads.upload(actor, key)
    uploads.require_settling(row)
    form = ColumnsForm(request.POST or None, row=row)
    there = reverse("import", args=[key])

    def write() -> Any:
        if form.head_moved:
            uploads.answer(actor=actor, row=row, answers={"head": form.cleaned_data["head"]})
        else:
            uploads.map_columns(actor=actor, row=row, columns=form.columns())
        return look_through(actor=actor, row=uploads.upload(actor, key))

    return edit(
        request, form=form, write=write, to=lambda _: there, said="", back=there,
        title=f"Columns of {row.name}", save="Use these columns",
        crumbs=[*CRUMBS, (row.name, there)],
        lead="Your answer is kept for the next file with the same heads. Another row of heads is "
        "looked at first, without the columns below.",
    )  # fmt: skip


@signed_in
@require_POST
def import_take(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = take_up(actor=actor, row=uploads.upload(actor, key), at=timezone.now())
    if row.state == "done":
        messages.success(request, f"Taken in: {row.rows:,} rows of {row.name}.")
    return redirect("import", key)


@signed_in
@require_http_methods(["GET", "POST"])
def import_undo(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    row = uploads.upload(actor, key)
    there = reverse("import", args=[key])
    form = UndoForm(request.POST or None)
    return edit(
        request, form=form, to=lambda _: there, back=there, title=f"Take {row.name} back",
        write=lambda: undo_import(
            actor=actor, key=key, because=form.cleaned_data["because"], at=timezone.now()
        ),
        save="Take the whole import back", said="Taken back: {}.",
        lead="All that it made: readings and values are set aside, results and reports withdrawn, "
        "things of the register retired. The file stays.", crumbs=[*CRUMBS, (row.name, there)],
    )  # fmt: skip


@signed_in
@require_POST
def import_drop(request: HttpRequest, key: UUID) -> HttpResponse:
    actor = actor_of(request)
    uploads.drop(actor=actor, row=uploads.upload(actor, key))
    messages.success(request, "Not taken in. The file stays among the imports.")
    return redirect("imports")


@signed_in
@require_GET
def import_file(request: HttpRequest, key: UUID) -> HttpResponseBase:
    """The original, to be saved: nothing in it is shown or run here."""
    row = uploads.upload(actor_of(request), key)
    return served(row.file, "application/octet-stream", row.name, saved=True)


@signed_in
@require_GET
def import_layout(request: HttpRequest, kind: str) -> HttpResponse:
    """Our own columns of one kind of table, and the examples to be saved."""
    layout = _layout(kind)
    context = {
        "layout": layout,
        "columns": [(one, ", ".join(one.aliases), _right(one)) for one in layout.columns],
        "crumbs": [*CRUMBS, (f"Columns of {layout.title.lower()}", "")],
    }
    return render(request, "imports/layout.html", context)


def _layout(kind: str) -> Any:
    if kind not in dict(upload_queries.KINDS):
        raise NotFound("table", kind)
    return layouts.documented(kind)


def _right(column: Any) -> str:
    if column.kind == "choice":
        return "one of " + ", ".join(dict.fromkeys(column.choices.values()))
    if column.units:
        return "in " + " or ".join(column.units)
    return {
        "percent": "in %",
        "day": "a day",
        "moment": "a time, with or without its day",
        "name": "text, as on the label",
    }.get(column.kind, "")


@signed_in
@require_GET
def import_example(request: HttpRequest, kind: str, form: str) -> HttpResponse:
    layout = _layout(kind)
    body = csv_example(layout) if form == "csv" else xlsx_example(layout)
    answer = HttpResponse(body, content_type=TYPES[form])
    answer["Content-Disposition"] = f'attachment; filename="{kind}-example.{form}"'
    return answer


urls: list[URLPattern] = [
    path("imports/", imports, name="imports"),
    path("imports/new/", import_new, name="import_new"),
    path("imports/columns/<str:kind>/", import_layout, name="import_layout"),
    path("imports/example/<str:kind>.csv", import_example, {"form": "csv"}, name="import_csv"),
    path("imports/example/<str:kind>.xlsx", import_example, {"form": "xlsx"}, name="import_xlsx"),
    path("imports/<uuid:key>/", import_page, name="import"),
    path("imports/<uuid:key>/answer/", import_answer, name="import_answer"),
    path("imports/<uuid:key>/again/", import_again, name="import_again"),
    path("imports/<uuid:key>/columns/", import_columns, name="import_columns"),
    path("imports/<uuid:key>/take/", import_take, name="import_take"),
    path("imports/<uuid:key>/undo/", import_undo, name="import_undo"),
    path("imports/<uuid:key>/drop/", import_drop, name="import_drop"),
    path("imports/<uuid:key>/file/", import_file, name="import_file"),
]
