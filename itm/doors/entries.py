"""Take what devices and programs hand over: entry by entry, each whole or not at all.

An entry is a promise that was made with no signal. So one that fails never stops those that do
not hang on it, an exact repeat is answered as the first time, and what hangs on something that has
not come yet waits for the next time.
"""

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

import structlog
from django.db import DataError, IntegrityError, transaction

from itm.accounts.actor import Actor
from itm.core.clock import AHEAD, require_believable
from itm.core.errors import Conflict, Forbidden, ItmError, NotFound, Refused
from itm.doors.deeds.effluent import line_of_day
from itm.doors.entry import Answer, Call, Done, Entry, entry_of, instant_of
from itm.doors.verb import Verb
from itm.doors.verbs import VERBS
from itm.intake.once import once
from itm.records import check_queries, device_clocks, queries
from itm.records.merge import Crossed
from itm.records.models import ConcentrateCheck, Visit
from itm.registry import queries as registry
from itm.registry.models import Site, Tank

Whole = Visit | ConcentrateCheck | Tank | Site
MOST_ENTRIES = 500  # a day has some hundred; a device sends more in parts
# How each kind of row is found, and the visit or check that it belongs to.
FIND: Mapping[str, tuple[Callable[[Actor, uuid.UUID], Any], Callable[[Any], Whole]]] = {
    "visit": (queries.visit, lambda row: row),
    "test": (queries.test, lambda row: row.visit),
    "run": (queries.run, lambda row: row.test.visit),
    "step": (queries.flush_step, lambda row: row.test.visit),
    "line": (queries.restoration_line, lambda row: row.visit),
    "bottle": (queries.bottle, lambda row: row.bench.visit),
    "reading": (queries.reading, lambda row: row.bottle.bench.visit),
    "effluent": (line_of_day, lambda row: row.visit),
    "tank": (check_queries.tank_to_begin, lambda row: row),
    "site": (registry.site, lambda row: row),
    "check": (check_queries.check, lambda row: row),
    "sample": (check_queries.sample, lambda row: row.concentrate_check),
    "value": (check_queries.value, lambda row: row.sample.concentrate_check),
}
MADE_BY_ENTRIES = ("bottle", "reading", "check", "sample", "value", "effluent")
HAND_INS = ("hand_in", "hand_in_check")
WAITS = "waits"
# Refusals that time heals: what is missing is on another device, or later in the same queue.
PASSING = {
    ("flush_done", "out_of_order"), ("inspect", "photo_to_come"), ("inspect_site", "photo_to_come"),
}  # fmt: skip
PASSING |= {(name, "not_started") for name in VERBS}
log = structlog.get_logger()


def take(
    *, actor: Actor, entries: Sequence[Any], device_now: datetime | str | None, at: datetime,
    failed: set[Whole | None] | None = None,
) -> list[Answer]:  # fmt: skip
    """Take raw entries in the order given, each in its own transaction or savepoint.

    `device_now` is the device's clock at the moment of sending. Who takes one list in parts hands
    the same `failed` to each: it gains what entries that were not taken hang on, None where that is
    not known, and no hand-in of those goes through. May run twice.
    Raises Refused too_many, and what `entry.instant_of` refuses of `device_now`.
    """
    clock = device_now if isinstance(device_now, datetime) else instant_of(device_now, "device_now")

    if len(entries) > MOST_ENTRIES:
        raise Refused(
            "too_many", f"{len(entries)} entries at once; send at most {MOST_ENTRIES}.", "entries"
        )
    answers: list[Answer] = []
    failed = set() if failed is None else failed
    for raw in entries:
        taking = _Taking(actor, clock, at, failed)
        answer = taking.answer(raw)
        if not answer.taken:
            failed.add(taking.whole)
        answers.append(answer)
    return answers


class _Taking:
    """One entry on its way."""

    def __init__(
        self, actor: Actor, device_now: datetime | None, at: datetime, failed: set[Whole | None]
    ) -> None:
        self.actor, self.device_now, self.at, self.failed = actor, device_now, at, failed
        self.whole: Whole | None = None
        self.verb = ""
        self.entry: Entry | None = None

    def answer(self, raw: Any) -> Answer:
        shown = raw.get("key") if isinstance(raw, dict) else None
        key = shown[:64] if isinstance(shown, str) else ""
        try:
            return self._take(entry_of(raw))
        except Crossed as crossed:
            return Answer(
                key, "crossed", crossed.code, crossed.sentence, next(iter(crossed.places)),
                crossed.now,
            )  # fmt: skip
        except Refused as refused:
            passing = (self.verb, refused.code) in PASSING
            code = WAITS if passing else refused.code
            return Answer(
                key, "refused", code, refused.sentence, refused.place, self._offered(refused)
            )
        except (Conflict, Forbidden, NotFound) as refusal:
            return Answer(key, _STATES[type(refusal)], refusal.code, refusal.sentence)
        except (IntegrityError, DataError) as error:
            log.warning("entry_not_kept", verb=self.verb, key=key, error=str(error)[:300])
            return Answer(
                key, "refused", "not_kept",
                "The database refused this entry: it contradicts what stands there by now. Look "
                "at the day again, and enter what is still missing.",
            )  # fmt: skip

    def _take(self, entry: Entry) -> Answer:
        verb = verb_of(entry)
        self.verb, self.entry = verb.name, entry
        kept = once(
            actor=self.actor, key=entry.key, what=f"entry {verb.name}", body=entry.body, at=self.at,
            do=lambda: self._do(verb, entry),
        )  # fmt: skip
        state = "taken_before" if kept.repeated else "taken"
        return Answer(str(entry.key), state, **kept.value)

    def _offered(self, refused: Refused) -> dict[str, str]:
        """For a stamp that cannot be right: the moment by the server's clock, for a person to take
        or to put right. What was typed is put right where it was typed."""
        entry = self.entry
        if entry is None or entry.at is None or refused.place in entry.put:
            return {}
        if refused.code not in device_clocks.WRONG:
            return {}
        at = device_clocks.offered(device_now=self.device_now, stamped_at=entry.at, at=self.at)
        return {"at": at.isoformat()}

    def _do(self, verb: Verb, entry: Entry) -> dict[str, Any]:
        row = row_of(self.actor, verb, entry)
        self.whole = FIND[verb.of][1](row) if verb.of else None
        if verb.name in HAND_INS and self.failed & {None, self.whole}:
            raise Refused(
                WAITS,
                "Something that was entered before this could not be taken; see to that first, or "
                "it would be missing on the record.",
            )
        done = perform(
            actor=self.actor, verb=verb, entry=entry, row=row, device_now=self.device_now,
            at=self.at,
        )  # fmt: skip
        return {"code": done.code, "sentence": done.sentence, "now": dict(done.now)}


def verb_of(entry: Entry) -> Verb:
    """Raises Refused unknown_verb."""
    verb = VERBS.get(entry.verb)
    if verb is None:
        raise Refused("unknown_verb", f"There is no “{entry.verb[:40]}” here.", "verb")
    return verb


def row_of(actor: Actor, verb: Verb, entry: Entry) -> Any:
    """What the entry hangs on. Raises NotFound; Refused bad_entry, waits."""
    if set(entry.of) != ({verb.of} if verb.of else set()):
        wanted = f"“of” holds the key of one {verb.of}" if verb.of else "“of” holds nothing"
        raise Refused("bad_entry", f"For {verb.name} {wanted}.", "of")
    if not verb.of:
        return None
    find, _ = FIND[verb.of]
    try:
        return find(actor, entry.of[verb.of])
    except NotFound:
        if verb.of not in MADE_BY_ENTRIES:
            raise
        raise Refused(
            WAITS,
            f"It hangs on a {verb.of} that has not come in yet; it is taken as soon as that has.",
            verb.of,
        ) from None


@transaction.atomic
def perform(
    *, actor: Actor, verb: Verb, entry: Entry, row: Any, device_now: datetime | None, at: datetime
) -> Done:
    """The deed itself, and the clock that stamped it where that is off.

    Raises Refused out_of_calendar, to_come, and what the deed raises."""
    stamp = entry.at or at
    require_believable(stamp, now=at, place="at")
    latest = min(max(stamp, at, device_now or at), at + AHEAD)
    off = device_clocks.ahead(device_now=device_now, stamped_at=stamp, at=at)
    done = verb.does(Call(actor, entry, row, stamp, at, latest, off))
    if done.visit is not None:
        device_clocks.note(actor=actor, visit=done.visit, off=off, at=at)
    return done


_STATES: Mapping[type[ItmError], str] = {
    Conflict: "crossed",
    Forbidden: "forbidden",
    NotFound: "not_found",
}
