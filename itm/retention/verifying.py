"""Stored files against what is noted of them: there and the same, let go by decision, or lost."""

import hashlib
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

from django.core.files.storage import default_storage
from django.db.models import Count, QuerySet, Sum

from itm.core.making import CHUNK
from itm.findings.models import AuthorityFile
from itm.records.chain import Finding
from itm.records.models import LaboratoryReport
from itm.registry.models import Attachment
from itm.retention.letting import gone_words
from itm.retention.models import DecidedFile

Seen = Callable[[int], None]
CAME = {
    Attachment: "added_at", LaboratoryReport: "added_at", AuthorityFile: "visit__noted_at"
}  # fmt: skip


def verify_files(
    *, since: datetime | None = None, seen: Seen = lambda size: None
) -> Iterator[Finding]:
    """`let_go`: by a person's decision, and no fault. `lost`: the store has no such file and nobody
    decided so. `altered`: other bytes than those whose digest is noted, and often sealed.

    A withdrawn file may be missing where its site came in an archive, which leaves it out. With
    `since` only what came at that instant or later. `seen` is called after each with its size.
    """
    rows = came(Attachment, since).select_related("site").order_by("pk")
    for row in rows.iterator(chunk_size=500):
        yield from _verify(row, f"{row.site or row.hangs_on}, file {row.name}", row.withdrawn_at)
        seen(row.size)
    gone = DecidedFile.objects.exclude(laboratory_report=None).exclude(gone_at=None)
    known = set(gone.values_list("laboratory_report", flat=True))
    papers = came(LaboratoryReport, since).select_related("concentrate_check__site").order_by("pk")
    for paper in papers.iterator(chunk_size=500):
        place = f"{paper.concentrate_check.site}, paper of a laboratory {paper.name}"
        yield from _verify(paper, place, None, asked=paper.pk in known)
        seen(paper.size)
    noted = came(AuthorityFile, since).select_related("visit__site").order_by("pk")
    for held in noted.iterator(chunk_size=500):
        place = f"{held.visit.site}, file {held.name} of a visit of an authority"
        yield from _verify(held, place, held.withdrawn_at, asked=False)
        seen(held.size)


def how_many_files(*, since: datetime | None = None) -> tuple[int, int]:
    """How many `verify_files` looks at, and their bytes by what is noted of them."""
    count = size = 0
    for model in CAME:
        found = came(model, since).aggregate(count=Count("pk"), size=Sum("size", default=0))
        count, size = count + found["count"], size + found["size"]
    return count, size


def came(model: Any, since: datetime | None) -> QuerySet[Any]:
    rows: QuerySet[Any] = model.objects.all()
    return rows if since is None else rows.filter(**{f"{CAME[model]}__gte": since})


def _verify(row: Any, place: str, withdrawn_at: Any, *, asked: bool = True) -> Iterator[Finding]:
    there = default_storage.exists(row.file.name)
    if asked and (words := gone_words(row)):
        back = " The store holds it again; nobody is shown it." if there else ""
        yield Finding("let_go", place, f"{words[0].upper()}{words[1:]}.{back}")
    elif not there:
        if withdrawn_at is None:
            yield Finding("lost", place, "The store has lost it, and nobody decided so.")
    elif digest_of(row.file.name) != row.sha256:
        yield Finding("altered", place, "The stored bytes are not those that were noted.")


def digest_of(name: str) -> str:
    """SHA-256 of a stored file, a chunk at a time."""
    found = hashlib.sha256()
    with default_storage.open(name) as file:
        while chunk := file.read(CHUNK):
            found.update(chunk)
    return found.hexdigest()
