"""What the page of a site, system, tank or valve shows of the files that hang on it."""

from typing import Any

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.registry import attaching, queries, queries_attachments
from itm.registry.attaching import Target


def page_of(target: Target) -> str:
    name = attaching.COLUMN.get(type(target), "site")
    return reverse(name, args=[target.key])


def attached(actor: Actor, target: Target) -> dict[str, Any]:
    """What parts/attachments.html shows on the page of a thing."""
    site: Any = queries.site_of(target)
    column = attaching.COLUMN.get(type(target), "")
    rows = queries_attachments.attachments_of(actor, target)
    return {
        "rows": [(row, attaching.may_withdraw(actor, row)) for row in rows],
        "may_add": actor.kind in ("owner", "contractor") and site.retired_on is None,
        "site": site,
        "at": f"{column}:{target.key}" if column else "",
    }
