"""What a person sees and no form asks: a deficiency by hand, with its photos."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from itm.accounts.actor import Actor
from itm.findings import deciding, rights
from itm.findings.models import Deficiency
from itm.registry import attaching
from itm.registry.attaching import Upload
from itm.registry.models import Attachment, Site


@transaction.atomic
def note_deficiency(
    *, actor: Actor, site: Site, thing: Any, severity: int, words: str, found_on: date,
    at: datetime, uploads: Sequence[Upload] = (), caption: str = "",
) -> Deficiency:  # fmt: skip
    """All of it or nothing. Raises what `findings.deciding.note_by_hand` and
    `registry.attaching.attach` raise."""
    rights.require_work(actor, site)
    photos: list[Attachment] = []
    if uploads:
        photos = attaching.attach(
            actor=actor, site=site, target=thing, uploads=uploads, at=at, caption=caption
        )
    return deciding.note_by_hand(
        actor=actor, site=site, thing=thing, severity=severity, words=words, found_on=found_on,
        at=at, photos=photos,
    )  # fmt: skip


@transaction.atomic
def add_pictures(
    *, actor: Actor, deficiency: Deficiency, uploads: Sequence[Upload], caption: str, at: datetime
) -> Deficiency:
    """Raises Forbidden, and what `registry.attaching.attach` raises."""
    rights.require_write(actor, deficiency)
    photos = attaching.attach(
        actor=actor, site=deficiency.site, target=deficiency.thing, uploads=uploads, at=at,
        caption=caption,
    )  # fmt: skip
    deciding.picture(actor=actor, deficiency=deficiency, photos=photos, at=at)
    return deficiency
