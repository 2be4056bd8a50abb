"""A round of inspection is recorded, and the duties that it completes move."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.findings import catching_up, opening, overdue
from itm.records import inspecting
from itm.records.duties import derive_site
from itm.records.inspecting import Entry
from itm.records.models import Inspection, InspectionLine
from itm.registry import attaching
from itm.registry.attaching import Upload
from itm.registry.models import Site

NONE: Mapping[tuple[int, str], Upload] = {}


@transaction.atomic
def record_inspection(
    *, actor: Actor, site: Site, entries: Sequence[Entry], at: datetime,
    photos: Mapping[tuple[int, str], Upload] = NONE, fills: bool = False, **values: Any,
) -> Inspection:  # fmt: skip
    """`photos` by primary key of the duty and key of the want; each is attached to its thing.
    Where it `fills` a round that stands, only what is new there can open a deficiency.

    Raises what `records.inspecting.record` and `registry.attaching.attach` raise. May run twice.
    """
    inspecting.require_inspector(actor, site, values.get("visit"), at)
    there = inspecting.recorded(actor, values["once"])
    before = [line.pk for line in there.lines.all()] if there is not None else []
    if there is None or fills:
        for entry in entries:  # files are stored only for what can be recorded
            if not entry.empty:
                inspecting.judged(entry)
        entries = [with_photos(actor, site, entry, photos, at) for entry in entries]
    overdue.open_now(site=site, at=at)
    made = inspecting.record(actor=actor, site=site, entries=entries, at=at, fills=fills, **values)
    if there is None or fills:
        opening.after_inspection(actor=actor, inspection=made, at=at, known=before)
    derive_site(actor=actor, site=site)
    overdue.after_record(actor=actor, site=site, at=at)
    return made


def with_photos(
    actor: Actor, site: Site, entry: Entry, photos: Mapping[tuple[int, str], Upload], at: datetime
) -> Entry:
    stored = {}
    for (duty, want), upload in photos.items():
        if duty != entry.duty.pk:
            continue
        caption = f"{entry.duty.requirement}"[:200]
        try:
            [stored[want]] = attaching.attach(
                actor=actor, site=site, target=entry.duty.thing, uploads=[upload], at=at,
                caption=caption,
            )  # fmt: skip
        except Refused as refusal:
            raise Refused(refusal.code, refusal.sentence, f"{duty}-{want}") from refusal
    return replace(entry, photos=stored) if stored else entry


@transaction.atomic
def correct_inspection(*, actor: Actor, line: InspectionLine, **values: Any) -> Inspection:
    """Raises what `records.inspecting.correct` raises. May run twice."""
    there = inspecting.recorded(actor, values["once"])
    made = inspecting.correct(actor=actor, line=line, **values)
    if there is None:
        opening.after_inspection(actor=actor, inspection=made, at=values["at"])
        catching_up.after_corrected_line(actor=actor, line=line, at=values["at"])
    derive_site(actor=actor, site=made.site)
    overdue.after_record(actor=actor, site=made.site, at=values["at"])
    return made
