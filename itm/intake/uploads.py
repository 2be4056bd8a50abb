"""Files that people hand in: kept as they came, and answered about until they can be taken in."""

import hashlib
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO
from uuid import UUID

from django.core.files.base import File
from django.db import transaction

from itm.accounts.actor import Actor, require_kind
from itm.core.errors import NotFound, Refused
from itm.intake.layouts import kinds_for, layout_of
from itm.intake.models import HeadMemory, Upload
from itm.intake.tables.file_kind import XLSX, kind_of
from itm.intake.tables.workbook import require_harmless
from itm.records.drafts import require_crew
from itm.records.models import ProportioningTest
from itm.registry.files import LARGEST, clean_name, too_large
from itm.registry.services import keep

State = Upload.State
SETTLING = (State.OPEN, State.READY)
CHUNK = 1 << 20
MOST_HEADS = 5  # that are remembered for one column


def upload(actor: Actor, key: UUID) -> Upload:
    """Raises NotFound."""
    rows = Upload.objects.visible_to(actor).select_related(
        "organisation", "test__bench__instrument", "test__visit", "test__proportioner", "bundle"
    )
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("import", key)
    return row


def locked(actor: Actor, key: UUID) -> Upload:
    """Under a lock until the transaction ends. Raises NotFound."""
    found = upload(actor, key)
    Upload.objects.select_for_update().get(pk=found.pk)
    return upload(actor, key)


@transaction.atomic
def take_in(
    *, actor: Actor, kind: str, file: BinaryIO, name: str, at: datetime,
    test: ProportioningTest | None = None,
) -> tuple[Upload, bool]:  # fmt: skip
    """Keep the file; True where the same bytes are here already, which is then that import.

    Raises Forbidden; Refused not_yours, too_large, closed, and what `kind_of` and
    `require_harmless` refuse.
    """
    require_kind(actor, "owner", "contractor", what="bring in a file")
    if kind not in dict(kinds_for(actor.kind)):
        raise Refused("not_yours", "This kind of table is not yours to bring in.", "kind")
    if (kind == Upload.Kind.READINGS) != (test is not None):
        raise Refused("no_test", "Readings go to the bench of one test: choose it.", "test")
    if test is not None:
        require_crew(actor, test.visit)
    shown = clean_name(name)
    with tempfile.NamedTemporaryFile() as kept:
        digest, size = _copied(file, kept, shown)
        twin = _twin(actor, kind, digest, test)
        if twin is not None:
            return twin, True
        path = Path(kept.name)
        form = kind_of(path, shown)
        if form == XLSX:
            require_harmless(path)
        row = Upload(
            organisation=actor.organisation, kind=kind, test=test, form=form, size=size,
            sha256=digest, added_by=actor.person, added_at=at,
        )  # fmt: skip
        kept.seek(0)
        try:
            row.file.save("table", File(kept), save=False)
            keep(row, {"name": shown}, by=actor, verb="handed in")
        except BaseException:
            row.file.delete(save=False)  # the row goes with the transaction; the file would stay
            raise
    return row, False


def _copied(file: BinaryIO, kept: Any, shown: str) -> tuple[str, int]:
    seen, size = hashlib.sha256(), 0
    while chunk := file.read(CHUNK):
        size += len(chunk)
        if size > LARGEST:
            raise Refused("too_large", too_large(shown), "chosen")
        seen.update(chunk)
        kept.write(chunk)
    kept.flush()
    return seen.hexdigest(), size


def _twin(actor: Actor, kind: str, digest: str, test: ProportioningTest | None) -> Upload | None:
    """One that is still alive; what was dropped or taken back may come again."""
    rows = Upload.objects.visible_to(actor).filter(kind=kind, sha256=digest, test=test)
    return rows.exclude(state__in=[State.DROPPED, State.UNDONE]).first()


def require_settling(row: Upload) -> None:
    if row.state not in SETTLING:
        label = State(row.state).label
        raise Refused("not_open", f"This import is {label}; nothing is to be settled any more.")


@transaction.atomic
def answer(*, actor: Actor, row: Upload, answers: Mapping[str, str]) -> Upload:
    """What people said about the file; a new answer takes the place of the old. Raises Refused
    not_open."""
    require_settling(row)
    said = {code: text for code, text in answers.items() if text}
    silent = {code for code, text in answers.items() if not text}
    row.answers = {k: v for k, v in row.answers.items() if k not in silent} | said
    if "head" in said and said["head"].isdecimal():
        row.head_row, row.columns = int(said["head"]), None
        row.answers.pop("head")
    row.save(by=actor, verb="answered")
    return row


@transaction.atomic
def map_columns(*, actor: Actor, row: Upload, columns: Mapping[str, int]) -> Upload:
    """Which column of the file is which of ours; remembered for the next file of this kind.

    Raises Refused not_open, column_twice, column_missing.
    """
    require_settling(row)
    layout = layout_of(row)
    by_index: dict[int, str] = {}
    for name, index in columns.items():
        if index in by_index:
            one, two = layout.column(by_index[index]).label, layout.column(name).label
            raise Refused("column_twice", f"One column cannot be both {one} and {two}.", name)
        by_index[index] = name
    for column in layout.needed(columns):
        if column.name not in columns:
            raise Refused(
                "column_missing", f"Say which column of the file holds “{column.label}”.",
                column.name,
            )  # fmt: skip
    if lacking := layout.lacks(columns):
        raise Refused("column_missing", f"Say which columns of the file hold {lacking[0]}.")
    row.columns = dict(columns)
    row.save(by=actor, verb="mapped")
    _remember(actor, row, columns)
    return row


def _remember(actor: Actor, row: Upload, columns: Mapping[str, int]) -> None:
    names = row.findings.get("names", [])
    there = HeadMemory.objects.filter(organisation=actor.organisation_id, kind=row.kind)
    memory = there.first() or HeadMemory(organisation=actor.organisation, kind=row.kind)
    heads = dict(memory.heads)
    for name, index in columns.items():
        if index < len(names) and names[index]:
            older = [one for one in heads.get(name, []) if one != names[index]]
            heads[name] = [names[index], *older][:MOST_HEADS]
    memory.heads = heads
    memory.save(by=actor)


def remembered(row: Upload) -> dict[str, list[str]]:
    there = HeadMemory.objects.filter(organisation=row.organisation_id, kind=row.kind).first()
    return dict(there.heads) if there else {}


@transaction.atomic
def drop(*, actor: Actor, row: Upload) -> Upload:
    """Not taken in after all. The file stays as it came. May run twice. Raises Refused not_open."""
    if row.state == State.DROPPED:
        return row
    if row.state not in SETTLING:
        raise Refused("not_open", f"This import is {State(row.state).label}.")
    row.state = State.DROPPED
    row.save(by=actor, verb="dropped")
    return row
