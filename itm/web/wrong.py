"""What pages of other things show of what is wrong there."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.findings import clocks, queries, visiting
from itm.findings.wording import clocks_in_words, since
from itm.records import witnessing
from itm.registry.access import works_at
from itm.registry.queries import site_of
from itm.web.guard import actor_of

# What a record is to a deficiency that another one opened, by the last line it wrote there.
SAID = {
    "found_again": "found again by this record",
    "proposed": "found right by this record, which proposes to close it",
    "unsettled": "rested on this record, which has changed",
}
# As it stands in the names of addresses.
KINDS = {"test": "test", "concentrate_check": "check"}


def deficiency_asked_for(request: HttpRequest, site: Any) -> Any:
    """The deficiency named in the address, or None; another site's is not found."""
    asked = request.GET.get("deficiency", "")
    if not asked:
        return None
    try:
        found = queries.deficiency(actor_of(request), UUID(asked))
    except ValueError as error:
        raise NotFound("deficiency", asked) from error
    if found.site_id != site.pk:
        raise NotFound("deficiency", asked)
    return found


def visit_asked_for(request: HttpRequest, site: Any) -> Any:
    """The visit of an authority named in the address, or None; another site's is not found."""
    asked = request.GET.get("visit", "")
    if not asked:
        return None
    try:
        found = visiting.visit(actor_of(request), UUID(asked))
    except ValueError as error:
        raise NotFound("visit of an authority", asked) from error
    if found.site_id != site.pk:
        raise NotFound("visit of an authority", asked)
    return found


def wrong_at(actor: Actor, thing: Any) -> dict[str, Any]:
    """For findings/parts/here.html on the page of a site or of a thing there."""
    site = site_of(thing)
    now = timezone.now()
    rows = queries.open_at(actor, thing)
    out = queries.impairments_at(actor, thing)
    running = clocks.running(out, now) if out else {}
    address = ""
    if site is not None and works_at(actor, site) and site.retired_on is None:
        address = reverse("deficiency_new", args=[site.key])
        name = queries.choice_of(thing)
        address = f"{address}?at={name}" if name else address
    return {
        "rows": [(row, queries.where(row), queries.days_open(row, actor.today)) for row in rows],
        "impairments": [
            (row, since(row.started_at, now), clocks_in_words(running.get(row.pk, []), now))
            for row in out
        ],
        "add": address,
    }


def page_of(record: Any) -> str:
    return reverse("test" if hasattr(record, "visit_id") else "check", args=[record.key])


def named_by(actor: Actor, record: Any) -> list[tuple[Any, str]]:
    """Deficiencies that a record opened, found again or closed, with what it did; one query."""
    of_record = queries.of_record(actor, record) if record.handed_in_at else []
    link = queries.link_of(record)
    rows = []
    for row in of_record:
        fixed = getattr(row, f"fixed_by_{link}_id") == record.pk
        opened = getattr(row, f"{link}_id") == record.pk
        said = "closed against this record" if fixed else "opened by this record"
        if not fixed and not opened:
            said = SAID.get(row.last_said, "named by this record")
        rows.append((row, said))
    return rows


def wrong_by(actor: Actor, record: Any) -> dict[str, Any]:
    """For findings/parts/record.html: what a record opened or closed, and what was asked of it."""
    link, rows = queries.link_of(record), named_by(actor, record)
    untold = [row for row, _ in rows if row.severity == 1 and row.is_open and not row.was_told]
    sealed = record.state == "sealed"
    ask = f"{KINDS[link]}_question_new"
    return {
        "rows": rows,
        "untold": untold if works_at(actor, record.site) else [],
        "questions": queries.questions_on(actor, record) if sealed else [],
        "witnesses": [
            (row, row.organisation_id == actor.organisation_id and row.withdrawn_at is None)
            for row in (witnessing.witnesses_of(actor, record) if sealed else [])
        ],
        "witness": reverse(f"{KINDS[link]}_witness", args=[record.key])
        if witnessing.may_sign(actor, record)
        else "",
        "ask": reverse(ask, args=[record.key]) if sealed and actor.kind == "authority" else "",
    }
