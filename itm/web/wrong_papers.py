"""What is wrong, on paper: the list of deficiencies as it was narrowed, and what is out today."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_GET

from itm.accounts.actor import Actor
from itm.core.figures import day, instant
from itm.findings import queries
from itm.findings.on_paper import Out, Told, Totals, Wrong, out_lines, totals, wrong_lines
from itm.findings.wording import since
from itm.registry.finding import Wanted
from itm.web.deficiencies import NARROWS, stands
from itm.web.guard import actor_of, signed_in
from itm.web.listing import Within, wanted, within_site
from itm.web.summaries import Summary, require_size, summary_file

MOST = 500  # deficiencies named on one sheet, about forty pages; own choice
MOST_OUT = 200  # impairments; own choice


@signed_in
@require_GET
def deficiencies_pdf(request: HttpRequest, size: str) -> HttpResponse:
    """The rows of the list, narrowed and sorted as it was."""
    require_size(size)
    _, within = within_site(request)
    asked = wanted(request, NARROWS, within)
    return summary_file(sheet(actor_of(request), asked, within, timezone.now()), size)


def sheet(actor: Actor, asked: Wanted, within: Within | None, now: datetime) -> Summary:
    rows = queries.deficiencies(actor, asked)
    place = {"site": asked.narrow["site"]} if "site" in asked.narrow else {}
    out = queries.impairments(actor, Wanted(narrow={"stands": "open", **place}))
    where = within.text if within else "all sites"
    return Summary(
        template="report/deficiencies.html",
        title=f"Deficiencies, {where}, {day(actor.today)}",
        about="What is wrong, since when, who sees to it and who was told",
        actor=actor,
        at=now,
        told={
            "where": where,
            "narrowed": in_words(replace(asked, narrow=without_site(asked))),
            **wrong_told(wrong_lines(list(rows[:MOST])), totals(rows), actor.today),
            **out_told(out_lines(list(out[:MOST_OUT]), now), out.count(), now),
        },
    )


def without_site(asked: Wanted) -> dict[str, str]:
    return {name: value for name, value in asked.narrow.items() if name != "site"}


def in_words(asked: Wanted) -> str:
    """What the reader narrowed the list to: “Class: Impairment; with “valve””."""
    labels = {one.name: (one.label, dict(one.choices)) for one in NARROWS}
    said = [f"{labels[name][0]}: {labels[name][1][value]}" for name, value in asked.narrow.items()]
    if asked.find:
        said.append(f"with “{asked.find}”")
    return "; ".join(said)


# What a template prints of them; the sheet of a jurisdiction has the same tables. -----------------


def wrong_told(lines: Sequence[Wrong], totals: Totals, today: date) -> dict[str, Any]:
    return {
        "wrong": [
            {
                "row": one.row,
                "where": queries.where(one.row),
                "found_on": day(one.row.found_on),
                "days": queries.days_open(one.row, today),
                "stands": stands(one.row),
                "target": day(one.row.target_on),
                "told": told_words(one.told, one.row.site.time_zone),
            }
            for one in lines
        ],
        "wrong_count": totals.count,
        "wrong_open": totals.open,
        "by_class": totals.by_class,
        "oldest": day(totals.oldest),
    }


def out_told(lines: Sequence[Out], count: int, now: datetime) -> dict[str, Any]:
    return {
        "out": [
            {
                "row": one.row,
                "systems": one.systems,
                "since": instant(one.row.started_at, one.row.site.time_zone),
                "lasted": since(one.row.started_at, one.row.ended_at or now),
                "told": told_words(one.told, one.row.site.time_zone),
                "clocks": one.clocks,
            }
            for one in lines
        ],
        "out_count": count,
    }


def told_words(told: Iterable[Told], zone: str) -> list[str]:
    return [", ".join(filter(None, (one.who, instant(one.at, zone), one.how))) for one in told]


urls: list[URLPattern] = [
    path("deficiencies/<slug:size>.pdf", deficiencies_pdf, name="deficiencies_pdf"),
]
