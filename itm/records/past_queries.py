"""Lists of what older papers report, as a person may read them."""

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.models import PastCheckLine, PastInspection, PastResult
from itm.registry.finding import Wanted, arranged

SORTS = {
    "tested_on": "tested_on",
    "site": "proportioner__system__site__name",
    "proportioner": "proportioner__tag",
    "percent": "percent",
}
NARROWS = {"site": "proportioner__system__site__key", "of": "proportioner__key"}
FIND_IN = (
    "proportioner__tag", "proportioner__system__name", "proportioner__system__site__name",
    "done_by", "paper", "lot",
)  # fmt: skip


def listed(actor: Actor, wanted: Wanted) -> QuerySet[PastResult]:
    """In force, the newest first, unless another order is asked for."""
    return arranged(
        past.results(actor), wanted, find_in=FIND_IN, sorts=SORTS, narrows=NARROWS,
        retirable=False, start="-tested_on",
    )  # fmt: skip


CHECK_SORTS = {
    "sampled_on": "sampled_on",
    "site": "tank__site__name",
    "tank": "tank__tag",
    "property": "name",
}
CHECK_NARROWS = {"site": "tank__site__key", "of": "tank__key"}
CHECK_FIND_IN = (
    "tank__tag", "tank__site__name", "laboratory", "done_by", "paper", "lot", "outcome",
)  # fmt: skip


def check_lines(actor: Actor, wanted: Wanted) -> QuerySet[PastCheckLine]:
    """In force, the newest first, unless another order is asked for."""
    return arranged(
        past.check_lines(actor), wanted, find_in=CHECK_FIND_IN, sorts=CHECK_SORTS,
        narrows=CHECK_NARROWS, retirable=False, start="-sampled_on",
    )  # fmt: skip


INSPECTION_SORTS = {"day": "done_on", "site": "site__name", "task": "task", "person": "done_by"}
INSPECTION_NARROWS = {"site": "site__key"}
INSPECTION_FIND_IN = (
    "task", "site__name", "system__name", "tank__tag", "proportioner__tag", "equipment__tag",
    "words", "done_by", "paper",
)  # fmt: skip


def inspections(actor: Actor, wanted: Wanted) -> QuerySet[PastInspection]:
    """In force, the newest first, unless another order is asked for."""
    return arranged(
        past.inspections(actor), wanted, find_in=INSPECTION_FIND_IN, sorts=INSPECTION_SORTS,
        narrows=INSPECTION_NARROWS, retirable=False, start="-day",
    )  # fmt: skip
