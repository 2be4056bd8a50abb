"""Imports that a person may read: those of the own organisation."""

from django.db.models import QuerySet

from itm.accounts.actor import Actor
from itm.intake.models import Upload
from itm.registry.finding import Wanted, arranged

KINDS = tuple(Upload.Kind.choices)
STATES = tuple(Upload.State.choices)
SORTS = {"name": "name", "kind": "kind", "rows": "rows", "added_at": "added_at"}
NARROWS = {"kind": "kind", "state": "state"}


def listed(actor: Actor, wanted: Wanted) -> QuerySet[Upload]:
    """The newest first, unless another order is asked for."""
    rows = Upload.objects.visible_to(actor)
    return arranged(rows, wanted, find_in=("name",), sorts=SORTS, narrows=NARROWS, retirable=False)
