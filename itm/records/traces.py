"""What other rows remember of a signature.

A chain that lost its end still fits together, so whether something is missing there is asked of
what came about with each seal.
"""

from collections.abc import Iterator
from typing import Any

from itm.core.history import Change
from itm.records.models import Move, Record, Seal
from itm.records.models.kept import LINKS
from itm.registry.models import Site

Trace = tuple[str, str]  # place and sentence


def without_seal() -> Iterator[Trace]:
    """Signatures of which some row still tells, and no seal."""
    yield from _of_moves()
    yield from _of_history()
    for model in LINKS:
        yield from _of_record(model)


def _of_moves() -> Iterator[Trace]:
    signed = Move.objects.filter(verb="sign", test__seal=None, concentrate_check__seal=None)
    for move in signed.select_related("test__site", "concentrate_check__site").order_by("pk"):
        words = f"Its life says that {move.person} signed it, and it has no seal."
        yield place_of(move.record), words


def _of_history() -> Iterator[Trace]:
    """Each seal that was ever made here or came along with a site is a line of the history."""
    keys = set(Seal.objects.values_list("key", flat=True))
    names = dict(Site.objects.values_list("pk", "name"))
    lines = Change.objects.filter(model=Seal._meta.label, verb="created").order_by("pk")
    for key, after in lines.values_list("object_key", "after").iterator():
        if key not in keys:
            site = names.get(after.get("site_id"), "a site that is gone")
            number, digest = after.get("number"), after.get("digest")
            words = f"The history says that it was made, with the digest {digest}, and it is gone."
            yield f"{site}, seal {number}", words


def _of_record(model: type[Record]) -> Iterator[Trace]:
    lines = Change.objects.filter(model=model._meta.label, verb="sign")
    signed = set(lines.order_by().values_list("object_key", flat=True).distinct())
    rows: Any = model.objects.select_related("site").order_by("pk")
    for record in rows.filter(seal=None).iterator():
        if record.key in signed:
            yield place_of(record), "The history says that it was signed, and it has no seal."
    there = set(model.objects.values_list("key", flat=True))
    for key in sorted(signed - there, key=str):
        words = "The history says that it was signed, and it is gone."
        yield f"{model._meta.verbose_name} {key}", words


def place_of(record: Record) -> str:
    return f"{record.site}: {record}"
