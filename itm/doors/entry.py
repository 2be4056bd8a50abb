"""One thing a person did, as a device or program hands it over, and what became of it."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from itm.core.errors import Refused
from itm.records.models import Visit

PARTS = ("key", "verb", "of", "put", "opened", "at")
LONGEST = 2000  # characters of one text, as the longest field of a page
MOST_LISTED = 60
Texts = Mapping[str, "str | list[str]"]


@dataclass(frozen=True)
class Entry:
    """`key` was made at the first keystroke and never changes; `put` and `opened` are texts."""

    key: uuid.UUID
    verb: str
    of: Mapping[str, uuid.UUID]
    put: Texts
    opened: Mapping[str, str]
    at: datetime | None

    @property
    def body(self) -> dict[str, Any]:
        """What a repeat has to equal."""
        return {
            "verb": self.verb,
            "of": {name: str(key) for name, key in self.of.items()},
            "put": dict(self.put),
            "opened": dict(self.opened),
            "at": self.at.astimezone(UTC).isoformat() if self.at else None,
        }

    def text(self, name: str) -> str:
        value = self.put.get(name, "")
        return value if isinstance(value, str) else ""


@dataclass(frozen=True)
class Answer:
    """What became of an entry. `now` holds what stands on the server, as text; `place` is the name
    of a field that was put, or of a part of the entry.

    `state`: taken, taken_before, refused, crossed, forbidden or not_found.
    """

    key: str
    state: str
    code: str = ""
    sentence: str = ""
    place: str = ""
    now: Mapping[str, Any] = field(default_factory=dict)

    @property
    def taken(self) -> bool:
        return self.state in ("taken", "taken_before")

    def as_json(self) -> dict[str, Any]:
        return {**vars(self), "now": dict(self.now)}


@dataclass(frozen=True)
class Call:
    """An entry whose row is found: what a deed is called with."""

    actor: Any
    entry: Entry
    row: Any
    at: datetime  # the device's stamp
    now: datetime  # the server's clock
    latest: datetime  # nothing typed may be later than this
    off: timedelta  # of the device's clock, above 0 when it is ahead

    @property
    def true_at(self) -> datetime:
        """When it was done by the server's clock, as far as both clocks at the moment of sending
        tell: where a moment opens what is over, nobody shall come in by a clock that was set."""
        return min(self.at - self.off, self.now)


@dataclass(frozen=True)
class Done:
    """What a deed did: the texts that stand now, and the visit that it belongs to. A concentrate
    check belongs to none."""

    visit: Visit | None
    now: Mapping[str, Any] = field(default_factory=dict)
    code: str = ""
    sentence: str = ""


def entry_of(raw: Any) -> Entry:
    """The shape alone is judged here.

    Raises Refused bad_entry, not_text, too_long, bad_character, time_without_zone.
    """
    if not isinstance(raw, dict):
        raise Refused("bad_entry", "An entry is an object with key, verb, of, put and at.")
    if unknown := sorted(set(raw) - set(PARTS)):
        raise Refused(
            "bad_entry", f"An entry holds {', '.join(PARTS)}; it has no “{unknown[0][:40]}”."
        )
    verb = raw.get("verb")
    if not isinstance(verb, str) or not verb:
        raise Refused("bad_entry", "Say in “verb” what was done.", "verb")
    return Entry(
        key=uuid_of(raw.get("key"), "key"),
        verb=verb,
        of={name: uuid_of(key, f"of/{name}") for name, key in _object(raw, "of").items()},
        put={name: texts_of(value, name) for name, value in _object(raw, "put").items()},
        opened={name: _text(value, name) for name, value in _object(raw, "opened").items()},
        at=instant_of(raw.get("at"), "at"),
    )


def _object(raw: dict[str, Any], name: str) -> dict[str, Any]:
    value = raw.get(name)
    if value is None:
        return {}
    if not isinstance(value, dict):
        raise Refused("bad_entry", f"“{name}” is an object of names and texts.", name)
    return value


def uuid_of(value: Any, place: str) -> uuid.UUID:
    """Raises Refused bad_entry."""
    try:
        return uuid.UUID(value)
    except (ValueError, TypeError, AttributeError) as error:
        raise Refused(
            "bad_entry",
            "A key is a UUID such as 0c6f7a86-2f0e-4a5e-9b57-5f1d1f0c2a11.",
            place,
        ) from error


def instant_of(value: Any, place: str) -> datetime | None:
    """A moment with its offset from UTC; without one it could be any hour of the day.

    Raises Refused bad_entry, time_without_zone.
    """
    if value in (None, ""):
        return None
    try:
        at = datetime.fromisoformat(value)
        at.astimezone(UTC)  # the first and the last day of the calendar have no other zone
    except (ValueError, TypeError, OverflowError) as error:
        raise Refused(
            "bad_entry", "Write the moment as 2026-05-03T10:12:30+02:00.", place
        ) from error
    if at.tzinfo is None:
        raise Refused(
            "time_without_zone",
            "This moment has no offset: write 2026-05-03T10:12:30+02:00, or Z at the end for UTC.",
            place,
        )
    return at


def texts_of(value: Any, place: str) -> "str | list[str]":
    """Raises Refused not_text, too_long, bad_character."""
    if not isinstance(value, list):
        return _text(value, place)
    if len(value) > MOST_LISTED:
        raise Refused("too_long", f"At most {MOST_LISTED} of these.", place)
    return [_text(one, f"{place}/{number}") for number, one in enumerate(value)]


def _text(value: Any, place: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value)
    if not isinstance(value, str):
        raise Refused(
            "not_text",
            "Write this as text with the digits that were read, such as “1.33360” or “850 L/min”: "
            "a number loses its last zeros.",
            place,
        )
    if len(value) > LONGEST:
        raise Refused("too_long", f"At most {LONGEST} characters.", place)
    if "\x00" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
        raise Refused("bad_character", "This holds a character that cannot be stored.", place)
    return value
