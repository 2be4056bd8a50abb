"""Photos that a device took with no signal: each under a key of its own, like an entry."""

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, BinaryIO

from itm.accounts.actor import Actor
from itm.core.clock import require_believable
from itm.core.errors import Forbidden, NotFound, Refused
from itm.doors.entries import FIND, WAITS
from itm.doors.entry import Answer, instant_of, uuid_of
from itm.intake.once import once
from itm.records import device_clocks, inspection_queries
from itm.records.photographing import photo_of_task
from itm.records.photographing import take_photo as keep

SHOWN = ("visit", "run", "line", "reading", "sample")
MADE_BY_ENTRIES = ("reading", "sample")
TASK = "duty"  # what is asked of a round; its photo is an answer


def take_photo(
    *, actor: Actor, key: Any, of: Any, file: BinaryIO, name: str, taken_at: Any, at: datetime,
    device_now: datetime | None = None, sha256: str = "",
) -> Answer:  # fmt: skip
    """Keep one photo of one thing: `of` is {"reading": key}, or a run, line, visit or bottle of a
    check (`sample`); or what a
    task of a round wants to be seen, {"duty": key, "visit": key} or
    {"duty": key, "site": key}, whose inspection then names it.

    `taken_at` is the device's stamp as text. A photo of a reading that has not come in yet waits,
    like an entry. Where the sender says the SHA-256 of what it sent, another one is refused: the
    file was damaged on its way. May run twice.
    """
    shown = str(key)[:64]
    try:
        return _taken(actor, key, of, file, name, taken_at, at, device_now, sha256)
    except Refused as refused:
        now = {}
        if refused.code in device_clocks.WRONG and (stamp := instant_of(taken_at, "at")):
            known = device_clocks.offered(device_now=device_now, stamped_at=stamp, at=at)
            now = {"at": known.isoformat()}
        return Answer(shown, "refused", refused.code, refused.sentence, refused.place, now)
    except Forbidden as refusal:
        return Answer(shown, "forbidden", refusal.code, refusal.sentence)
    except NotFound as refusal:
        return Answer(shown, "not_found", refusal.code, refusal.sentence)


def _taken(
    actor: Actor, key: Any, of: Any, file: BinaryIO, name: str, taken_at: Any, at: datetime,
    device_now: datetime | None, sha256: str,
) -> Answer:  # fmt: skip
    own = uuid_of(key, "key")
    shown = _shown(of)
    stamp = instant_of(taken_at, "at") or at
    require_believable(stamp, now=at, place="at")
    rows = {kind: _row(actor, kind, thing) for kind, thing in shown.items() if kind != TASK}
    digest = hashlib.sha256()
    file.seek(0)
    while part := file.read(1 << 16):
        digest.update(part)

    if sha256 and sha256.lower() != digest.hexdigest():
        raise Refused(
            "other_digest",
            f"The file arrived with the SHA-256 {digest.hexdigest()}, which is not the one that "
            "was named: it was damaged on its way. Send it again.",
            "sha256",
        )

    off = device_clocks.ahead(device_now=device_now, stamped_at=stamp, at=at)

    def do() -> dict[str, Any]:
        file.seek(0)
        if TASK in shown:
            visit = rows.get("visit")
            site = rows["site"] if visit is None else visit.site
            duty = inspection_queries.duty_at(site, uuid_of(shown[TASK], "of"))
            attachment = photo_of_task(
                actor=actor, site=site, visit=visit, duty=duty, file=file, name=name,
                taken_at=stamp, at=at,
            )  # fmt: skip
            told = {"photo": str(own), TASK: shown[TASK]}
        else:
            [row] = rows.values()
            clock = device_clocks.words(off) if "sample" in shown else ""
            photo = keep(
                actor=actor, of=row, file=file, name=name, taken_at=stamp, at=at, key=own,
                clock=clock,
            )  # fmt: skip
            visit, attachment, told = photo.visit, photo.attachment, {"photo": str(photo.key)}
        if visit is not None:
            device_clocks.note(actor=actor, visit=visit, off=off, at=at)
        return {**told, "file": str(attachment.key), "sha256": digest.hexdigest()}

    body = {"of": shown, "sha256": digest.hexdigest(), "at": stamp.isoformat()}
    if not taken_at:
        body.pop("at")  # stamped by the server, at another moment each time
    kept = once(actor=actor, key=own, what="photo", body=body, do=do, at=at)
    return Answer(str(own), "taken_before" if kept.repeated else "taken", now=kept.value)


def _shown(of: Any) -> dict[str, str]:
    """Keys by kind: of one thing, or of a task and the visit or site that it is seen on. Raises
    Refused bad_entry."""
    if isinstance(of, str):
        try:
            of = json.loads(of)
        except (ValueError, RecursionError):
            of = None
    kinds = set(of) if isinstance(of, Mapping) else set()
    if kinds not in ({TASK, "visit"}, {TASK, "site"}) and not (
        len(kinds) == 1 and kinds <= set(SHOWN)
    ):
        raise Refused(
            "bad_entry",
            f"“of” holds the key of one of {', '.join(SHOWN)}, or of a {TASK} and its visit or "
            "site.",
            "of",
        )
    return {kind: str(uuid_of(key, f"of/{kind}")) for kind, key in of.items()}


def _row(actor: Actor, kind: str, key: str) -> Any:
    """Raises NotFound; Refused waits."""
    try:
        return FIND[kind][0](actor, uuid_of(key, "of"))
    except NotFound:
        if kind not in MADE_BY_ENTRIES:
            raise
        raise Refused(
            WAITS, f"The {kind} that it shows has not come in yet; it is taken after that.", "of"
        ) from None
