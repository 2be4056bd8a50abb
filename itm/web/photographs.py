"""Where the photos of a test day or a check are looked at, by the key of what each shows."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.records import queries

Addresses = Mapping[UUID, list[tuple[str, str]]]  # with the words where one was let go


def photos_by_thing(actor: Actor, visit: Any) -> Addresses:
    """Those whose files the actor may see, in one query."""
    return _by_thing(queries.photos(actor, visit))


def photos_by_bottle(actor: Actor, check: Any) -> Addresses:
    """The same of the bottles of a concentrate check."""
    return _by_thing(queries.photos_of_checks(actor, [check]))


def _by_thing(photos: Iterable[Any]) -> Addresses:
    found: dict[UUID, list[tuple[str, str]]] = {}
    for photo in photos:
        shown = photo.reading or photo.run or photo.line or photo.sample or photo.visit
        address = reverse("attachment_file", args=[photo.attachment.key])
        found.setdefault(shown.key, []).append((address, photo.attachment.let_go))
    return found
