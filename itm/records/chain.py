"""Seals: one chain a site, each link the digest of a record's bytes and of the link before.

`verify` asks two questions and never mixes them: do the stored bytes, links and rows match their
seals exactly (if not, somebody changed a record), and does the engine still compute the same?
"""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from django.db import connection

import calc
from calc.canonical import canonical_bytes, digest_bytes
from itm.accounts.actor import Actor
from itm.core import history, triggers
from itm.records import beside, traces, witnessing
from itm.records.facts import instant, written
from itm.records.kinds import KINDS, Kind, kind_of
from itm.records.models import Evaluation, Record, Seal
from itm.records.models.kept import LINKS, on
from itm.records.rows import plain, rows
from itm.registry.models import Site

AGREES = 1e-9  # relative, of a recomputation by the same engine version


@dataclass(frozen=True)
class Signature:
    """As typed by the signer."""

    name: str
    qualification: str
    number: str
    valid_until: date | None = None


def parsed(seal: Seal) -> dict[str, Any]:
    """The sealed document. Its bytes are the record; the rows are only its index."""
    form: dict[str, Any] = json.loads(bytes(seal.document))
    return form


def seal(
    *, actor: Actor, record: Record, evaluation: Evaluation, signature: Signature,
    at: datetime,
) -> Seal:  # fmt: skip
    """Append the record to its site's chain and close its rows. Inside the caller's transaction."""
    # Two signatures at one site follow each other: the row of the site is the gate.
    Site.objects.select_for_update().get(pk=record.site_id)
    last = Seal.objects.filter(site=record.site_id).order_by("-number").first()
    kind = kind_of(record)
    loaded = kind.whole(record.pk)
    form = kind.document(loaded, evaluation)
    form["seal"] = {
        "number": last.number + 1 if last else 1,
        "previous": last.digest if last else "",
        "sealed_at": instant(at),
        "signer": signature.name,
        "qualification": signature.qualification,
        "number_of_licence": signature.number,
        "licence_until": written(signature.valid_until),
        "signed_for": actor.organisation_name,
    }
    data = canonical_bytes(form)
    row = Seal.objects.create(
        by=actor,
        site=record.site,
        number=form["seal"]["number"],
        **on(record),
        form=kind.form,
        document=data,
        digest=digest_bytes(data),
        previous=form["seal"]["previous"],
        sealed_at=at,
        signer=signature.name,
        signer_qualification=signature.qualification,
        signer_number=signature.number,
        signed_for=actor.organisation_name,
    )
    _close(actor, kind, loaded, at)
    return row


def _close(actor: Actor, kind: Kind, record: Record, at: datetime) -> None:
    """Copy the instant of sealing to every guarded row; the triggers refuse changes from now on."""
    tables = kind.guarded(record)
    del tables[kind.own]  # sealed by its own move
    with history.bulk(actor, "sealed", type(record), "its rows are closed", of=record):
        for table in tables.values():
            if table:
                model = type(table[0])
                pks = [row.pk for row in table]
                model._default_manager.filter(pk__in=pks, sealed_at=None).update(sealed_at=at)


@dataclass(frozen=True)
class Finding:
    """`broken`: not what was sealed. `differs`: recomputed otherwise by the same engine version.
    `other_version`: computed by another engine version, listed and no fault. Of stored files:
    `lost`, `altered`, and `let_go` by a person's decision, which is none."""

    kind: Literal["broken", "differs", "other_version", "lost", "altered", "let_go"]
    place: str
    sentence: str


def verify(seen: Callable[[], None] = lambda: None) -> Iterator[Finding]:
    """Look at every seal of every site; report all findings, never only the first. `seen` is called
    after each seal."""
    for name, what in triggers.faults(connection).items():
        words = f"The guard {name} {what}; manage.py migrate lays all guards anew."
        yield Finding("broken", "database", words)
    for site in Site.objects.order_by("pk"):
        yield from _verify_chain(site, seen)
    for model, kind in KINDS.items():
        unsealed: Any = model.objects.filter(state="sealed", seal=None).select_related("site")
        for record in unsealed:
            place = f"{record.site.name}, {kind.name}: {record}"
            yield Finding("broken", place, "The record says sealed, but it has no seal.")
    for place, words in traces.without_seal():
        yield Finding("broken", place, words)
    for row in witnessing.altered():
        place = f"{row.site.name}, seal {row.seal.number}"
        yield Finding("broken", place, f"The signature of the witness {row.name} is not as signed.")


def how_many() -> int:
    """Seals in this installation."""
    return Seal.objects.count()


def _verify_chain(site: Site, seen: Callable[[], None]) -> Iterator[Finding]:
    previous, number = "", 0
    seals = Seal.objects.filter(site=site).select_related("site", *LINKS.values())
    for row in seals.order_by("number"):
        number += 1
        place = f"{site.name}, seal {row.number}"
        if row.number != number:
            yield Finding("broken", place, f"Seal {number} of the chain is missing.")
            number = row.number
        if row.previous != previous:
            yield Finding("broken", place, "It does not follow the seal before it.")
        yield from _verify_seal(row, place)
        previous = row.digest
        seen()


def _verify_seal(row: Seal, place: str) -> Iterator[Finding]:
    data = bytes(row.document)
    if digest_bytes(data) != row.digest:
        yield Finding("broken", place, "The stored bytes do not give the digest of the seal.")
    try:
        form = json.loads(data)
        inside = form["seal"]
        stated = (inside["number"], inside["previous"], inside["sealed_at"], form["key"])
        named = form["kind"]
    except (ValueError, KeyError, TypeError):
        yield Finding("broken", place, "The stored bytes are not a record in a known form.")
        return
    kind = kind_of(row.record)
    columns = (row.number, row.previous, instant(row.sealed_at), str(row.record.key))
    if stated != columns or named != kind.name:
        yield Finding("broken", place, "The seal's own columns are not what its bytes say.")
    loaded = kind.whole(row.record.pk)
    yield from _verify_rows(row, kind, loaded, form, place)
    for sentence in beside.unlike(row, loaded, form):
        yield Finding("broken", place, sentence)
    yield from _verify_engine(kind, form, place)


def _verify_rows(
    row: Seal, kind: Kind, loaded: Record, form: dict[str, Any], place: str
) -> Iterator[Finding]:
    """Name each row and column that is not as sealed."""
    if loaded.state != "sealed" or loaded.sealed_at != row.sealed_at:
        yield Finding("broken", place, "The record is no longer marked as sealed at that instant.")
    tables = kind.guarded(loaded)
    for name, table in tables.items():
        for item in table:
            if getattr(item, "sealed_at", None) is None:
                yield Finding("broken", place, f"{name}: {item} is no longer marked as sealed.")
    now = rows(tables)
    for name, sealed in form["rows"].items():
        there = {r["key"]: r for r in now.get(name, [])}
        for was in sealed:
            yield from _verify_row(name, was, there.pop(was["key"], None), place)
        for added in there.values():
            yield Finding("broken", place, f"{name}: row {added['key']} was added after sealing.")


def _verify_row(
    table: str, was: dict[str, Any], now: dict[str, Any] | None, place: str
) -> Iterator[Finding]:
    if now is None:
        yield Finding("broken", place, f"{table}: row {was['key']} is gone.")
        return
    for column, value in was.items():
        if now.get(column) != value:
            yield Finding(
                "broken",
                place,
                f"{table}: {column} of {was['key']} is {plain(now.get(column))!r}, "
                f"sealed as {value!r}.",
            )


def _verify_engine(kind: Kind, form: dict[str, Any], place: str) -> Iterator[Finding]:
    stored = form["evaluation"]
    try:
        result = kind.judge(stored["inputs"])
        same = _agree(stored["result"], result)
        how = "recomputation gives another result"
    except calc.CalcError as refusal:
        same, how = False, f"the engine now refuses the readings: {refusal}"
    if same:
        return
    if stored["engine_version"] == calc.__version__:
        yield Finding("differs", place, f"Engine {calc.__version__}, the same as then: {how}.")
    else:
        versions = f"sealed with engine {stored['engine_version']}, now {calc.__version__}"
        yield Finding("other_version", place, f"{versions}: {how}.")


def _agree(was: Any, now: Any) -> bool:
    """Same codes, same places, numbers within 1e-9 relative. The version itself is not compared,
    nor the sentences of warnings, which may be said better under one version."""
    if isinstance(was, dict) and isinstance(now, dict):
        return was.keys() == now.keys() and all(
            key in ("engine_version", "message") or _agree(was[key], now[key]) for key in was
        )
    if isinstance(was, list) and isinstance(now, list):
        return len(was) == len(now) and all(map(_agree, was, now))
    numbers = (int, float)
    if isinstance(was, numbers) and isinstance(now, numbers) and not isinstance(was, bool):
        return math.isclose(was, now, rel_tol=AGREES, abs_tol=1e-12)
    return bool(was == now)
