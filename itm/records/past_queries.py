"""Lists of what older papers report, as a person may read them."""

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.records import past
from itm.records.models import PastResult
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
        past.results(actor), wanted, find_in=FIND_IN, sorts=SORTS, narrows=NARROWS, retirable=False
    )
