"""Records as a list, and what a reader may know of one: place, day, number, digest."""

import re
from dataclasses import replace
from typing import Any

from django.db.models import Q, QuerySet

from itm.accounts.actor import Actor
from itm.records.models import ProportioningTest
from itm.records.results import with_corrections
from itm.registry.finding import Wanted, arranged, matching

RECORD_COLUMNS = (
    "site__name", "proportioner__tag", "proportioner__system__name", "visit__contractor__name",
)  # fmt: skip
SORTS: dict[str, Any] = {
    "tested_on": "tested_on",
    "site": "site__name",
    "system": "proportioner__system__name",
    "proportioner": "proportioner__tag",
    "limits": "limits",
}
NARROWS = {
    "site": "site__key",
    "proportioner": "proportioner__key",
    "limits": "limits",
    "state": "state",
    "since": "tested_on__gte",
    "until": "tested_on__lte",
}
STATES = ProportioningTest.State.choices
DIGEST_BEGINS = re.compile(r"[0-9a-f]{8,64}")
DATE = re.compile(r"([1-9]\d{3})(?:-(\d\d)(?:-(\d\d))?)?")


def listed_tests(actor: Actor, wanted: Wanted) -> QuerySet[ProportioningTest]:
    """Newest day first, unless another order is asked for."""
    rows: QuerySet[ProportioningTest] = ProportioningTest.objects.visible_to(actor).select_related(
        "site", "proportioner__system", "visit__contractor"
    )
    rows = with_corrections(matching(rows, wanted.find, RECORD_COLUMNS, record_fits))
    asked = replace(wanted, find="", sort=wanted.sort or "-tested_on")
    return arranged(rows, asked, find_in=(), sorts=SORTS, narrows=NARROWS, retirable=False)


def record_fits(term: str) -> Q:
    """A record is also found by its day, its month, its year, its number or its digest."""
    match = Q()
    if DIGEST_BEGINS.fullmatch(term.lower()):
        match |= Q(seal__digest__startswith=term.lower())
    if (given := DATE.fullmatch(term)) is not None:
        parts = zip(("year", "month", "day"), given.groups(), strict=True)
        match |= Q(**{f"tested_on__{name}": int(part) for name, part in parts if part})
    if term.isascii() and term.isdecimal() and len(term) < 7:
        match |= Q(seal__number=int(term))
    return match
