"""Walking through a document: each part knows its place, and what is wrong is told there."""

import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any, TypeVar

from django.db import DataError, IntegrityError, transaction
from django.db.models.fields.files import FieldFile

from itm.accounts.actor import Actor
from itm.core.errors import ItmError, NotFound, Refused
from itm.doors.entries import perform, row_of, verb_of
from itm.doors.entry import entry_of, instant_of, texts_of, uuid_of
from itm.doors.filling import Wrong
from itm.intake.check import Problem

MOST_PARTS = 3000  # of one document; the largest day has some hundred
MOST_PROBLEMS = 100  # nobody reads more
T = TypeVar("T")


class DocumentRefused(Refused):
    """`problems` holds each with its place in the document, as a JSON pointer (RFC 6901)."""

    def __init__(self, code: str, problems: list[Problem]) -> None:
        first = problems[0]
        more = f" ({len(problems) - 1} more)" if len(problems) > 1 else ""
        super().__init__(code, f"{first.sentence}{more}", first.place)
        self.problems = problems


class Walk:
    """One document on its way in: who hands it over, and what was wrong so far."""

    def __init__(self, actor: Actor, key: uuid.UUID, at: datetime) -> None:
        self.actor, self.key, self.at = actor, key, at
        self.problems: list[Problem] = []
        self.parts = 0
        self.files: list[FieldFile] = []  # that parts of it wrote

    @contextmanager
    def whole(self) -> Iterator[None]:
        """Around all of it: where any part was refused rows go with the transaction, and files
        here."""
        try:
            yield
        except BaseException:
            for file in self.files:
                file.storage.delete(file.name or "")
            raise

    def wrong(self, place: str, code: str, sentence: str) -> None:
        problem = Problem(place, code, sentence)
        if len(self.problems) < MOST_PROBLEMS and problem not in self.problems:
            self.problems.append(problem)


class Part:
    """An object of the document at its pointer; what is no object is empty, and told so."""

    def __init__(self, walk: Walk, value: Any, pointer: str) -> None:
        self.walk, self.pointer = walk, pointer
        self.value: dict[str, Any] = value if isinstance(value, dict) else {}
        if value is not None and not isinstance(value, dict):
            walk.wrong(pointer, "not_an_object", "Write an object here.")
        walk.parts += 1
        if walk.parts > MOST_PARTS:
            raise Refused("too_large", f"A day has at most {MOST_PARTS} parts.", pointer)

    def wrong(self, name: str, code: str, sentence: str) -> None:
        self.walk.wrong(f"{self.pointer}/{escaped(name)}" if name else self.pointer, code, sentence)

    def only(self, names: Iterable[str]) -> None:
        """Whatever has another name would be lost in silence."""
        for name in self.value:
            if name not in names:
                self.wrong(
                    name, "unknown_field",
                    f"There is no “{name[:40]}” here; it can hold {', '.join(names)}.",
                )  # fmt: skip

    def part(self, name: str) -> "Part":
        return Part(self.walk, self.value.get(name), f"{self.pointer}/{name}")

    def parts(self, name: str) -> list["Part"]:
        value = self.value.get(name)
        if value is not None and not isinstance(value, list):
            self.wrong(name, "not_a_list", "Write a list here.")
            return []
        place = f"{self.pointer}/{name}"
        return [Part(self.walk, one, f"{place}/{n}") for n, one in enumerate(value or [])]

    def text(self, name: str) -> str:
        value = self.value.get(name)
        return value if isinstance(value, str) else ""

    def texts(self, names: Iterable[str]) -> dict[str, Any]:
        """Those that are there and can be text; the others are told."""
        out = {}
        for name in names:
            if name in self.value:
                try:
                    out[name] = texts_of(self.value[name], name)
                except Refused as refusal:
                    self.wrong(refusal.place, refusal.code, refusal.sentence)
        return out

    def key(self, name: str) -> uuid.UUID | None:
        try:
            return uuid_of(self.value.get(name), name)
        except Refused as refusal:
            self.wrong(name, refusal.code, refusal.sentence)
            return None

    def instant(self, name: str) -> datetime | None:
        """Told once: by whoever uses it as a stamp."""
        try:
            return instant_of(self.value.get(name), name)
        except Refused:
            return None

    def do(
        self, verb: str, of: Mapping[str, uuid.UUID], *, put: Iterable[str] = (), stamp: str = "",
        extra: Mapping[str, Any] | None = None, at: datetime | None = None,
        beside: "Part | None" = None, named: Mapping[str, str] | None = None,
    ) -> Mapping[str, Any] | None:  # fmt: skip
        """Perform the entry that this part stands for: `put` are its texts, `stamp` the name of its
        moment. `extra` comes from the part `beside`, and `named` says what the document calls what
        the entry calls otherwise. What it made, or nothing where it was refused, which is told."""
        names = {
            "at": stamp,
            **({stamp: stamp} if stamp else {}),
            **{name: name for name in put},
            **(named or {}),
        }
        if stamp:
            at = self._stamp(stamp)
            if at is None:
                return None
        raw = {
            "key": str(self.key_of(verb)),
            "verb": verb,
            "of": {name: str(key) for name, key in of.items()},
            "put": {**{n: self.value[n] for n in put if n in self.value}, **(extra or {})},
            "at": at.isoformat() if at else None,
        }
        return self.attempt(lambda: self._performed(raw), names, beside)

    def attempt(
        self, do: Callable[[], T], names: Mapping[str, str], beside: "Part | None" = None
    ) -> T | None:
        """What it gave, or nothing where it was refused, which is told at its place: `names` are
        the places of what is done in those of the document."""
        try:
            with transaction.atomic():
                return do()
        except Wrong as wrong:
            for one in wrong.problems:
                self._tell(one, names, beside)
        except Refused as refused:
            one = Problem(refused.place, refused.code, refused.sentence)
            self._tell(one, names, beside)
        except NotFound as missing:  # told at the field that named it
            self.wrong(names.get(missing.what, names.get("of", "")), missing.code, missing.sentence)
        except ItmError as error:
            self.wrong(names.get("of", ""), error.code, error.sentence)
        except (IntegrityError, DataError):
            self.wrong("", "not_kept", "The database refused this part: it contradicts another.")
        return None

    def key_of(self, verb: str) -> uuid.UUID:
        """Of the row that it makes: the same document under the same key makes the same."""
        return uuid.uuid5(self.walk.key, f"{self.pointer} {verb}")

    def _performed(self, raw: dict[str, Any]) -> Mapping[str, Any]:
        entry = entry_of(raw)
        verb = verb_of(entry)
        row = row_of(self.walk.actor, verb, entry)
        done = perform(
            actor=self.walk.actor, verb=verb, entry=entry, row=row, device_now=None,
            at=self.walk.at,
        )  # fmt: skip
        return done.now

    def _stamp(self, name: str) -> datetime | None:
        try:
            at = instant_of(self.value.get(name), name)
        except Refused as refusal:
            self.wrong(name, refusal.code, refusal.sentence)
            return None
        if at is None:
            self.wrong(name, "missing", "Say when, as 2026-05-03T10:12:30+02:00.")
        elif at > self.walk.at:
            self.wrong(name, "to_come", f"{at.isoformat()} is still to come.")
            return None
        return at

    def _tell(self, problem: Problem, names: Mapping[str, str], beside: "Part | None") -> None:
        """At the place in the document that the place in the entry comes from."""
        if beside is not None and problem.place not in names:
            beside.wrong(problem.place, problem.code, problem.sentence)
        else:
            self.wrong(names.get(problem.place, ""), problem.code, problem.sentence)


def escaped(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")
