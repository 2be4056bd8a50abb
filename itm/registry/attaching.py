"""Photos and papers are attached to a site, a thing there, a lot or an instrument, and withdrawn
with a reason."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO

from django.core.files.base import ContentFile, File
from django.db import transaction

from itm.accounts.actor import Actor, require_kind
from itm.core.errors import Forbidden, Refused
from itm.registry.access import works_at
from itm.registry.files import Inspected, inspect
from itm.registry.models import (
    Attachment,
    Certificate,
    ConcentrateLot,
    Equipment,
    FoamSystem,
    Instrument,
    Proportioner,
    Site,
    Tank,
)
from itm.registry.services import keep, require_own

MOST = 20  # files at once
Apart = ConcentrateLot | Instrument | Certificate
Target = Site | FoamSystem | Proportioner | Tank | Equipment | Apart
COLUMN: dict[type, str] = {
    FoamSystem: "system",
    Proportioner: "proportioner",
    Tank: "tank",
    Equipment: "equipment",
    ConcentrateLot: "lot",
    Instrument: "instrument",
    Certificate: "certificate",
}


@dataclass(frozen=True)
class Upload:
    """A file as a door hands it over, with the name that the person's device gave it."""

    file: BinaryIO
    name: str


def require_may_attach(actor: Actor, target: Target) -> None:
    """To a site that the actor sees, which the caller's query has asked, and to its own lots and
    instruments: a lot that stands in somebody's tank is seen by people who do not keep it."""
    if isinstance(target, Certificate):
        target = target.instrument
    if isinstance(target, ConcentrateLot | Instrument):
        require_own(actor, target, f"attach files to {_one_of(target)}")
    else:
        require_kind(actor, "owner", "contractor", what="attach files to a site")


def _one_of(target: ConcentrateLot | Instrument) -> str:
    return "a lot" if isinstance(target, ConcentrateLot) else "an instrument"


@transaction.atomic
def attach(
    *, actor: Actor, site: Site | None, target: Target, uploads: Sequence[Upload], at: datetime,
    caption: str = "", held_back: bool = False,
) -> list[Attachment]:  # fmt: skip
    """All of them or none; `site` is none for a lot or an instrument. What is `held_back` shows to
    others only after `show`. Raises Forbidden; Refused
    nothing_chosen, too_many, already_there and what `files.inspect` refuses."""
    require_may_attach(actor, target)
    if not uploads:
        raise Refused("nothing_chosen", "Choose at least one file.", "chosen")
    if len(uploads) > MOST:
        raise Refused("too_many", f"These are {len(uploads)} files; {MOST} go at once.", "chosen")
    stored: list[Attachment] = []
    try:
        for upload in uploads:
            stored.append(_attach(actor, site, target, upload, at, caption, held_back))
    except BaseException:
        for row in stored:  # the rows go with the transaction; the files would stay
            drop_files(row)
        raise
    return stored


def attach_or_find(
    *, actor: Actor, site: Site, target: Target, upload: Upload, at: datetime, caption: str,
    held_back: bool,
) -> Attachment:  # fmt: skip
    """One file, or the same file where the actor's organisation has attached it here already."""
    require_may_attach(actor, target)
    twin = _twin(site, target, inspect(upload.file, upload.name).sha256)
    if twin is not None and twin.organisation_id == actor.organisation_id:
        return twin
    upload.file.seek(0)
    [row] = attach(
        actor=actor, site=site, target=target, uploads=[upload], at=at, caption=caption,
        held_back=held_back,
    )  # fmt: skip
    return row


def show(*, actor: Actor, row: Attachment) -> Attachment:
    """It is held back no longer. May run twice."""
    return keep(row, {"held_back": False}, by=actor, verb="shown")


def _on(target: Target) -> dict[str, Any]:
    on: dict[str, Any] = dict.fromkeys(COLUMN.values())
    if type(target) in COLUMN:
        on[COLUMN[type(target)]] = target
    return on


def _twin(site: Site | None, target: Target, sha256: str) -> Attachment | None:
    same = Attachment.objects.filter(site=site, sha256=sha256, withdrawn_at=None, **_on(target))
    return same.first()


def _attach(
    actor: Actor, site: Site | None, target: Target, upload: Upload, at: datetime, caption: str,
    held_back: bool,
) -> Attachment:  # fmt: skip
    found = inspect(upload.file, upload.name)
    if (twin := _twin(site, target, found.sha256)) is not None:
        raise Refused(
            "already_there", f"“{found.name}” is already here, as “{twin.name}”.", "chosen"
        )
    row = Attachment(
        site=site, organisation=actor.organisation, content_type=found.content_type,
        size=found.size, sha256=found.sha256, added_by=actor.person, added_at=at,
        held_back=held_back, **_on(target),
    )  # fmt: skip
    values = {"name": found.name, "caption": caption.strip()}
    store(row, upload, found, lambda: keep(row, values, by=actor, verb="attached"))
    return row


def store(row: Any, upload: Upload, found: Inspected, write: Callable[[], Any]) -> None:
    """The bytes and their small picture, then the row; where that is refused no file stays."""
    upload.file.seek(0)
    try:
        row.file.save(f"file{found.suffix}", File(upload.file), save=False)
        if found.preview:
            row.preview.save("preview.jpg", ContentFile(found.preview), save=False)
        write()
    except BaseException:
        drop_files(row)
        raise


def drop_files(row: Any) -> None:
    for file in (row.file, row.preview):
        if file:
            file.delete(save=False)


def may_withdraw(actor: Actor, row: Attachment) -> bool:
    """The owner of the site or of the lot, and who attached it, at a site as long as they work
    there."""
    kept_by = row.site or row.lot  # what hangs on an instrument was attached by its keeper
    if kept_by is not None and actor.organisation_id == kept_by.owner_id:
        return True
    own = actor.organisation_id == row.organisation_id
    return own and (row.site is None or works_at(actor, row.site))


def require_may_withdraw(actor: Actor, row: Attachment) -> None:
    if not may_withdraw(actor, row):
        raise Forbidden(
            "Only who attached a file and the owner of what it hangs on can withdraw it."
        )


def withdraw(*, actor: Actor, row: Attachment, why: str, at: datetime) -> Attachment:
    """It is served no more; its line stays and says who withdrew it and why. Never deletes.

    Raises Forbidden; Refused why_missing. May run twice.
    """
    require_may_withdraw(actor, row)
    if not why.strip():
        raise Refused("why_missing", "Say why this file is withdrawn.", "why")
    if row.withdrawn_at is not None:
        return row
    values = {"withdrawn_at": at, "withdrawn_by": actor.person, "withdrawn_why": why.strip()}
    return keep(row, values, by=actor, verb="withdrawn")


def bring_back(*, actor: Actor, row: Attachment) -> Attachment:
    """Undo of `withdraw`. May run twice."""
    require_may_withdraw(actor, row)
    values = {"withdrawn_at": None, "withdrawn_by": "", "withdrawn_why": ""}
    return keep(row, values, by=actor, verb="brought back")
