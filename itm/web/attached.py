"""What the page of a thing shows of the files that hang on it."""

from typing import Any

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.registry import attaching, queries, queries_attachments
from itm.registry.attaching import Target


def page_of(target: Target) -> str:
    name = attaching.COLUMN.get(type(target), "site")
    if isinstance(target, queries.Certificate):  # it stands on the page of its instrument
        name, target = "instrument", target.instrument
    return reverse(name, args=[target.key])


def attached(actor: Actor, target: Target) -> dict[str, Any]:
    """What parts/attachments.html shows on the page of a thing."""
    site = queries.site_of(target)
    rows = queries_attachments.attachments_of(actor, target)
    return {
        "rows": [(row, attaching.may_withdraw(actor, row)) for row in rows],
        "add": add_at(actor, target, site),
        "zone": site.time_zone if site else "UTC",
    }


def add_at(actor: Actor, target: Target, site: queries.Site | None) -> str:
    """Where the actor attaches files to it; empty for whom that is refused."""
    column = attaching.COLUMN.get(type(target), "")
    if site is None:
        gone = getattr(target, "retired_on", None) or getattr(target, "withdrawn_because", "")
        if gone or not queries.may_change(actor, target):
            return ""
        return reverse(f"{column}_attachment_new", args=[target.key])
    if actor.kind not in ("owner", "contractor") or site.retired_on is not None:
        return ""
    address = reverse("attachment_new", args=[site.key])
    return f"{address}?at={column}:{target.key}" if column else address
