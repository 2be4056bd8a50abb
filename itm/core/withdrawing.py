"""What is written once and then only withdrawn: with who, when and why, and never changed.

The row stays to be read; a right one may stand in its place.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, TypeVar

from django.db import models
from django.db.models import Q

from itm.core.errors import Conflict, Refused
from itm.core.history import Author
from itm.core.triggers import Rule

M = TypeVar("M", bound=models.Model)


class Withdrawable(models.Model):
    """The three columns. A model names its own constraint by `withdrawn_whole`."""

    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=200, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


def withdrawn_whole(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(withdrawn_at=None, withdrawn_by="", withdrawn_because="")
        | (Q(withdrawn_at__isnull=False) & ~Q(withdrawn_by="") & ~Q(withdrawn_because="")),
        name=name,
        violation_error_message="A withdrawal says who, when and why.",
    )


def unchanged(name: str, columns: Sequence[str], sentence: str, may_lack: Sequence[str] = ()) -> (
    dict[str, Rule]
):  # fmt: skip
    """The rule of the database that these columns stay as they were written; `may_lack` are the
    numbers among them that can be empty."""
    refused = [f"NEW.{column} <> OLD.{column}" for column in columns]
    refused += [f"COALESCE(NEW.{one}, -1) <> COALESCE(OLD.{one}, -1)" for one in may_lack]
    return {name: Rule("UPDATE", " OR ".join(refused), sentence)}


def struck(row: M, because: str, *, by: Author, at: datetime) -> M:
    """Refused because_missing; Conflict when it was withdrawn already."""
    line: Any = row
    if line.withdrawn_at is not None:
        raise Conflict(f"{line.withdrawn_by} withdrew this already.")
    if not because.strip():
        raise Refused("because_missing", "Say what is wrong with it.", "because")
    line.withdrawn_at, line.withdrawn_by = at, by.person
    line.withdrawn_because = because.strip()
    line.save(by=by, verb="withdrawn", text=because)
    return row
