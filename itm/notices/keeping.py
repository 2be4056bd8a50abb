"""Whoever may object while files wait to be let go has to hear of it: the owner's people."""

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.accounts.models import Membership
from itm.core.clock import date_at
from itm.core.figures import day
from itm.core.history import Change
from itm.notices.found import Found, Keyed, Keys
from itm.notices.models import News
from itm.retention.models import Decision

K = News.Kind
WORDS = {"decided": K.GOING, "taken back": K.STAYS, "carried out": K.GONE}
DECIDES = (Membership.Role.SUPERVISOR, Membership.Role.MANAGER)


def of_decision(change: Change) -> list[News.Kind]:
    return [WORDS[change.verb]] if change.verb in WORDS else []


def decisions(keys: Keys) -> Keyed:
    """That files are kept on takes nothing from anybody, so it is not told."""
    rows = Decision.objects.filter(key__in=keys, verb=Decision.Verb.LET_GO)
    return {key: [Found(key, site)] for key, site in rows.values_list("key", "site")}


def told_parts(actor: Actor, row: Decision) -> tuple[str, str]:
    """Where it goes on for this reader, and what is to be told."""
    if actor.role in DECIDES:
        url = reverse("keeping_decision", args=[row.key])
    else:
        url = reverse("site", args=[row.site.key])
    count = len(row.files.all())
    files = f"{count} file{'s'[: count > 1]} of {row.get_kind_display()}"
    on = f", on {day(date_at(row.site.time_zone, row.goes_at))}" if row.goes_at else ""
    return url, f"{files}{on}, decided by {row.decided_by}: {row.reason}"
