"""What the canonical form of every kind of record says in the same way.

Keys, never primary keys; numbers that people typed as they typed them; instants in UTC.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from itm.records.models import Evaluation, Photo, Record
from itm.registry.certificates import certificate_on
from itm.registry.contents import amount, as_of, ledger
from itm.registry.models import Instrument, Site, Tank


def instant(at: datetime | None) -> str | None:
    """An instant in UTC. Microseconds stay, so that what is stored and what is sealed agree."""
    return None if at is None else at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def written(value: Decimal | date | None) -> str | None:
    """A decimal with the digits it has, a date as ISO 8601."""
    if isinstance(value, Decimal):
        plain = format(value.normalize(), "f")
        return plain if plain != "-0" else "0"
    return None if value is None else value.isoformat()


def at_site(site: Site) -> dict[str, Any]:
    return {
        "key": str(site.key),
        "name": site.name,
        "address": site.address,
        "country": site.country,
        "time_zone": site.time_zone,
        "owner": site.owner.name,
    }


def authorities(site: Site, on: date) -> list[dict[str, str]]:
    """Who looked after the site on the day of the work."""
    return [
        {"name": a.organisation.name, "scope": a.get_scope_display()}
        for a in site.site_authorities.all()
        if a.covers(on)
    ]


def amended(record: Record) -> dict[str, Any] | None:
    """The sealed record that this one corrects, and why."""
    earlier = record.amends
    if earlier is None:
        return None
    return {
        "key": str(earlier.key),
        "digest": earlier.seal.digest,
        "number": earlier.seal.number,
        "reason": record.amendment_reason,
    }


def evaluated(evaluation: Evaluation) -> dict[str, Any]:
    return {
        "engine_version": evaluation.engine_version,
        "inputs_digest": evaluation.inputs_digest,
        "inputs": evaluation.inputs,
        "result": evaluation.result,
    }


def handed_in(record: Record, maker: str) -> dict[str, Any] | None:
    if record.handed_in_by is None:
        return None
    return {
        "by": record.handed_in_by.name,
        "organisation": maker,
        "at": instant(record.handed_in_at),
    }


def photos(rows: Iterable[Photo]) -> dict[str, Any]:
    """What they show, and the digest of each file; only where there are any."""
    told = [
        {
            "key": str(photo.key),
            "shows": photo.attachment.caption,
            "sha256": photo.attachment.sha256,
            "taken_at": instant(photo.taken_at),
            "taken_by": photo.taken_by,
        }
        for photo in rows
    ]
    return {"photos": told} if told else {}


def moves(record: Record) -> list[dict[str, Any]]:
    return [
        {
            "verb": m.verb,
            "at": instant(m.at),
            "person": m.person,
            "organisation": m.organisation,
            "reason": m.reason,
        }
        for m in record.moves.all()
    ]


def proof_of(meter: Instrument, on: date) -> dict[str, Any]:
    """The calibration of an instrument that was in force on a day."""
    proof = certificate_on(meter, on)
    return {
        "certificate": proof.number if proof else "",
        "certificate_due_on": written(proof.due_on) if proof else None,
        "certificate_issued_on": written(proof.issued_on) if proof else None,
        "laboratory": proof.laboratory if proof else "",
    }


def tank_contents(tank: Tank, on: date) -> dict[str, Any]:
    """What went in since the tank was last empty, and what the book says of it on that day."""
    lines = [line for line in ledger(tank, tank.movements.all()) if line.movement.moved_on <= on]
    held = as_of(lines, on)
    since = next((i for i in range(len(lines), 0, -1) if not lines[i - 1].holds.volumes), 0)
    return {
        "fills": [
            {"lot": str(m.lot), "volume": m.volume_typed, "filled_on": written(m.moved_on)}
            for m in (line.movement for line in lines[since:])
            if m.goes_in
        ],
        "contents": [
            {
                "lot": str(part.lot),
                "volume": amount(part.volume, tank.capacity_typed),
                "share_percent": f"{100 * part.share:.1f}",
            }
            for part in held.parts
        ],
        "remarks": held.remarks,
    }
