"""When readings reached the server, by its own clock; the device's stamps stand with them."""

from datetime import datetime
from typing import Any

from django.db.models import Max, Min

from itm.core.history import Change
from itm.records.models import Reading


def arrived(document: dict[str, Any]) -> tuple[datetime, datetime] | None:
    """First and last reading of a record; nothing where they came in one batch, of which the
    history notes one line. For code that read the record through its scope."""
    keys = [r["key"] for bottle in document["bench"]["bottles"] for r in bottle["readings"]]
    lines = Change.objects.filter(
        model=Reading._meta.label, object_key__in=keys, verb="created"
    ).aggregate(first=Min("at"), last=Max("at"))
    return (lines["first"], lines["last"]) if lines["first"] else None
