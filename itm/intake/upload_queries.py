"""Imports that a person may read: those of the own organisation."""

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.intake.models import Upload
from itm.records import check_queries
from itm.records.models import ConcentrateCheck
from itm.registry.finding import Wanted, arranged

KINDS = tuple(Upload.Kind.choices)
STATES = tuple(Upload.State.choices)
SORTS = {"name": "name", "kind": "kind", "rows": "rows", "added_at": "added_at"}
NARROWS = {"kind": "kind", "state": "state"}


def listed(actor: Actor, wanted: Wanted) -> QuerySet[Upload]:
    """The newest first, unless another order is asked for."""
    rows = Upload.objects.visible_to(actor)
    return arranged(
        rows, wanted, find_in=("name",), sorts=SORTS, narrows=NARROWS, retirable=False,
        start="-added_at",
    )  # fmt: skip


def checks_with(actor: Actor, row: Upload) -> list[ConcentrateCheck]:
    """Those whose bottles have values of this import, by site and tank."""
    if row.kind != Upload.Kind.VALUES or row.state != Upload.State.DONE:
        return []
    rows = check_queries.checks(actor).filter(samples__values__key__in=row.made).distinct()
    return list(rows.order_by("site__name", "tank__tag", "checked_on"))
