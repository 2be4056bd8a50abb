"""The last resort of field capture: all that a device could not send, taken out of a file of it.

The rule of order is that of the device's own rounds (`sync.js`): a paper hangs on bottles, an
inspection on its photos, and a hand-in on everything of its test or check. So hand-ins go last,
whatever their place in the file, and what failed in one step holds them through all others.
"""

import base64
import binascii
import io
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from itm.accounts.actor import Actor
from itm.core.errors import NotFound, Refused
from itm.doors import entries, papers, photos
from itm.doors.entries import HAND_INS, WAITS, Whole
from itm.doors.entry import Answer, uuid_of
from itm.intake.once import answer_to
from itm.records import check_queries
from itm.registry.files import clean_name

AFTER_PHOTOS = ("inspect", "inspect_site")
AFTER_PAPERS = "hand_in_check"


def take_all(
    *, actor: Actor, asked: Sequence[Any], held_papers: Sequence[Any], held_photos: Sequence[Any],
    elsewhere: Sequence[Any], at: datetime,
) -> list[Answer]:  # fmt: skip
    """One answer for each of the entries, papers and photos, in the order given.

    `elsewhere` holds the keys of papers that the device has and this file has not, because they are
    in other parts or too large for one: while any has not come, no check is handed in. May run
    twice: what came before is answered as that.
    """
    failed: set[Whole | None] = set()
    answers: dict[int, Answer] = {}

    def take(numbers: Sequence[int]) -> None:
        for start in range(0, len(numbers), entries.MOST_ENTRIES):
            part = numbers[start : start + entries.MOST_ENTRIES]
            # The device's clock at the moment of saving is not its clock now, so none is compared.
            got = entries.take(
                actor=actor, entries=[asked[number] for number in part], device_now=None, at=at,
                failed=failed,
            )  # fmt: skip
            answers.update(zip(part, got, strict=True))

    verbs = [raw.get("verb") if isinstance(raw, dict) else None for raw in asked]
    last = [number for number, verb in enumerate(verbs) if verb in HAND_INS]
    late = [number for number, verb in enumerate(verbs) if verb in AFTER_PHOTOS]
    take([number for number in range(len(asked)) if number not in {*last, *late}])
    of_papers = [_paper(actor, _object(raw), failed, at) for raw in held_papers]
    of_photos = [_photo(actor, _object(raw), at) for raw in held_photos]
    take(late)
    if not all(_has_come(actor, key) for key in elsewhere):
        for number in [number for number in last if verbs[number] == AFTER_PAPERS]:
            last.remove(number)
            answers[number] = _other_parts_first(asked[number])
    take(last)
    return [*(answers[number] for number in range(len(asked))), *of_papers, *of_photos]


def _object(raw: Any) -> dict[str, Any]:
    return raw if isinstance(raw, dict) else {}


def _paper(
    actor: Actor, raw: dict[str, Any], failed: set[Whole | None], at: datetime
) -> Answer:  # fmt: skip
    answer = papers.take_paper(
        actor=actor, key=raw.get("key"), of=raw.get("of"), put=raw.get("put"),
        file=io.BytesIO(_bytes(raw)), name=clean_name(str(raw.get("name") or "report")),
        kept_at=raw.get("at"), at=at,
    )  # fmt: skip
    if not answer.taken:
        failed.add(_check_of(actor, raw))
    return answer


def _check_of(actor: Actor, raw: dict[str, Any]) -> Whole | None:
    """What is not known holds every hand-in, as an entry does that hangs on nothing known."""
    try:
        return check_queries.check(actor, uuid_of(_object(raw.get("of")).get("check"), "of"))
    except (NotFound, Refused):
        return None


def _photo(actor: Actor, raw: dict[str, Any], at: datetime) -> Answer:
    return photos.take_photo(
        actor=actor, key=raw.get("key"), of=raw.get("of"), file=io.BytesIO(_bytes(raw)),
        name=clean_name(str(raw.get("name") or "photo.jpg")), taken_at=raw.get("at"), at=at,
    )  # fmt: skip


def _bytes(raw: dict[str, Any]) -> bytes:
    """Of a file that stands in the document; what is no base64 is empty, and refused as that."""
    try:
        return base64.b64decode(str(raw.get("data", "")), validate=True)
    except (binascii.Error, ValueError):
        return b""


def _has_come(actor: Actor, key: Any) -> bool:
    try:
        found = answer_to(actor=actor, key=uuid_of(key, "elsewhere"), what=papers.RECEIPT)
    except Refused:
        return False
    return found is not None


def _other_parts_first(raw: dict[str, Any]) -> Answer:
    return Answer(
        str(raw.get("key"))[:64], "refused", WAITS,
        "A laboratory’s report that is in another part, or only on the device, has not been taken "
        "and would be missing on the record: hand in the other parts, and then this one again.",
    )  # fmt: skip
