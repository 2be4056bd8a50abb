"""Where the photos of a test day are looked at, by the key of what each shows."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.urls import reverse

from itm.accounts.actor import Actor
from itm.records import queries

Addresses = Mapping[UUID, list[tuple[str, str]]]  # with the words where one was let go


def photos_by_thing(actor: Actor, visit: Any) -> Addresses:
    """Those whose files the actor may see, in one query."""
    found: dict[UUID, list[tuple[str, str]]] = {}
    for photo in queries.photos(actor, visit):
        shown = photo.reading or photo.run or photo.line or photo.visit
        address = reverse("attachment_file", args=[photo.attachment.key])
        found.setdefault(shown.key, []).append((address, photo.attachment.let_go))
    return found
