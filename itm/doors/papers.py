"""A laboratory's paper that a device kept with no signal: the file with its values, under one key.

Bottles are named by their keys, because a label may have been put right meanwhile, and because a
bottle that the device noted itself has no other name before it has come in.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, BinaryIO

from django.core.files.uploadedfile import SimpleUploadedFile

from itm.accounts.actor import Actor
from itm.core.clock import FIRST_MOMENT
from itm.core.errors import Forbidden, NotFound, Refused
from itm.doors.document import DocumentRefused
from itm.doors.document_check import PAPER, VALUE, answered
from itm.doors.entries import WAITS
from itm.doors.entry import Answer, instant_of, uuid_of
from itm.intake.once import once
from itm.records import check_queries as queries
from itm.records.models import ConcentrateCheck
from itm.registry.files import LARGEST, clean_name, too_large

RECEIPT = "laboratory paper"
MOST_TOLD = 4  # sentences of one answer; nobody reads more on a phone


def take_paper(
    *, actor: Actor, key: Any, of: Any, put: Any, file: BinaryIO, name: str, kept_at: Any,
    at: datetime,
) -> Answer:  # fmt: skip
    """Attach one paper to one check, with what it says of its bottles: all of it or nothing.

    `of` is {"check": key}; `put` holds laboratory, number, reported_on, and `samples`, each with
    its key and its values. Both may be JSON as text. `kept_at` is the device's stamp. A paper on a
    bottle that has not come in yet waits, like an entry. May run twice.
    """
    shown = str(key)[:64]
    try:
        return _taken(actor, key, of, put, file, name, kept_at, at)
    except DocumentRefused as refused:
        first = refused.problems[0]
        told = dict.fromkeys(one.sentence for one in refused.problems)
        return Answer(shown, "refused", first.code, " ".join(list(told)[:MOST_TOLD]), first.place)
    except Refused as refused:
        return Answer(shown, "refused", refused.code, refused.sentence, refused.place)
    except Forbidden as refusal:
        return Answer(shown, "forbidden", refusal.code, refusal.sentence)
    except NotFound as refusal:
        return Answer(shown, "not_found", refusal.code, refusal.sentence)


def _taken(
    actor: Actor, key: Any, of: Any, put: Any, file: BinaryIO, name: str, kept_at: Any, at: datetime
) -> Answer:
    own = uuid_of(key, "key")
    of, put = _object(of, "of"), _object(put, "put")
    if set(of) != {"check"}:
        raise Refused("bad_entry", "“of” holds the key of one check.", "of")
    check = queries.check(actor, uuid_of(of["check"], "of/check"))
    stamp = instant_of(kept_at, "at") or at
    if not FIRST_MOMENT < stamp < at:  # of a clock that was wrong: it counts as of its arrival
        stamp = at
    file.seek(0)
    data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise Refused("too_large", too_large(clean_name(name)), "file")
    digest = hashlib.sha256(data).hexdigest()

    def do() -> dict[str, Any]:
        made = answered(
            actor=actor, check=check, document=_document(check, put, stamp),
            file=SimpleUploadedFile(clean_name(name), data), key=own, at=at,
        )  # fmt: skip
        return {**made, "sha256": digest}

    body = {"check": str(check.key), "put": put, "sha256": digest}
    kept = once(actor=actor, key=own, what=RECEIPT, body=body, do=do, at=at)
    return Answer(str(own), "taken_before" if kept.repeated else "taken", now=kept.value)


def _object(value: Any, place: str) -> dict[str, Any]:
    """Raises Refused bad_entry."""
    if isinstance(value, str):
        try:
            value = json.loads(value)
        except (ValueError, RecursionError):
            value = None
    if not isinstance(value, Mapping):
        raise Refused("bad_entry", f"“{place}” is an object of names and texts.", place)
    return dict(value)


def _document(check: ConcentrateCheck, put: dict[str, Any], stamp: datetime) -> dict[str, Any]:
    """As a program would send it, each bottle by the label that it bears now.

    Raises Refused bad_entry, waits.
    """
    if unknown := sorted(set(put) - {*PAPER, "samples"}):
        raise Refused("bad_entry", f"A paper holds no “{unknown[0][:40]}”.", "put")
    listed = put.get("samples") or []
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise Refused("bad_entry", "“samples” is a list of bottles.", "put/samples")
    labels = {sample.key: sample.label for sample in check.samples.all()}
    samples = []
    for place, one in enumerate(listed):
        label = labels.get(uuid_of(one.get("sample"), f"put/samples/{place}/sample"))
        if label is None:
            raise Refused(
                WAITS, "A bottle of this report has not come in yet; it is taken after that.",
                "put/samples",
            )  # fmt: skip
        samples.append({"label": label, "values": _values(one, place, stamp)})
    return {**{name: put[name] for name in PAPER if name in put}, "samples": samples}


def _values(sample: dict[str, Any], place: int, stamp: datetime) -> list[dict[str, Any]]:
    """What is empty is left out; each was entered when the device kept it.

    Raises Refused bad_entry.
    """
    where = f"put/samples/{place}/values"
    listed = sample.get("values") or []
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise Refused("bad_entry", "“values” is a list of objects.", where)
    out = []
    for one in listed:
        if unknown := sorted(set(one) - set(VALUE)):
            raise Refused("bad_entry", f"A value holds no “{unknown[0][:40]}”.", where)
        out.append({**{n: v for n, v in one.items() if v}, "entered_at": stamp.isoformat()})
    return out
