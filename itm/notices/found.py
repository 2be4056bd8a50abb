"""Whom a line of the history concerns."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True)
class Found:
    """Whom it concerns: those who see the site, and one organisation besides."""

    thing: UUID
    site: int | None = None
    to: int | None = None
    asks: bool = False  # of an adoption: this organisation has rows to confirm


Keyed = dict[UUID, list[Found]]
Keys = set[UUID]


def one_each(rows: Iterable[tuple[UUID, UUID, int | None, int]]) -> Keyed:
    return {key: [Found(thing, site, to)] for key, thing, site, to in rows}
