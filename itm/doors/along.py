"""The day as a device fetches it, and what the device says of itself when it does."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from itm.accounts.actor import Actor
from itm.core.errors import NotFound
from itm.doors.day import day_of
from itm.doors.day_beginning import beginning
from itm.doors.day_round import round_at
from itm.records import along, queries


def day_for_device(
    actor: Actor, key: UUID, *, said: Mapping[str, str], at: datetime
) -> dict[str, Any]:
    """`day_of`, with what can begin there, and what is to be said of other devices that have it.

    Of `said`, `device` is a UUID that the device gave itself and `waiting` how much of the day it
    has not sent; without them, as from a page of before, nothing is noted. A key of a site gives
    the round of its owner, with which nothing is handed in. Raises NotFound.
    """
    try:
        day = day_of(actor, key, at=at)
    except NotFound:
        return round_at(actor, key, at)
    visit = queries.visit(actor, key)
    # No part of what the digest is of: what may begin is no part of what has been done.
    day |= {"beginning": beginning(actor, visit, at)}
    device = device_of(said)
    if device is None:
        return day
    waiting = said.get("waiting", "")
    along.note(
        actor=actor, visit=visit, device=device, at=at,
        waiting=int(waiting) if waiting.isascii() and waiting.isdigit() else 0,
    )  # fmt: skip
    # No part of what the digest is of: it changes while the day stays the same.
    return day | {"other_devices": along.may_hold_more(visit, at, asks=(actor, device))}


def off_the_device(actor: Actor, key: UUID, *, said: Mapping[str, str]) -> None:
    """The person took the day off it. Raises NotFound."""
    visit, device = queries.visit(actor, key), device_of(said)
    if device is not None:
        along.taken_off(actor=actor, visit=visit, device=device)


def device_of(said: Mapping[str, str]) -> UUID | None:
    try:
        return UUID(said.get("device", ""))
    except ValueError:
        return None
