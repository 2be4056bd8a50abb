"""Stored files against what is noted of them: there and the same, let go by decision, or lost."""

import hashlib
from collections.abc import Iterator
from typing import Any

from django.core.files.storage import default_storage

from itm.core.making import CHUNK
from itm.findings.models import AuthorityFile
from itm.records.chain import Finding
from itm.records.models import LaboratoryReport
from itm.registry.models import Attachment
from itm.retention.letting import gone_words
from itm.retention.models import DecidedFile


def verify_files() -> Iterator[Finding]:
    """`let_go`: by a person's decision, and no fault. `lost`: the store has no such file and nobody
    decided so. `altered`: other bytes than those whose digest is noted, and often sealed.

    A withdrawn file may be missing where its site came in an archive, which leaves it out.
    """
    rows = Attachment.objects.select_related("site").order_by("pk")
    for row in rows.iterator(chunk_size=500):
        yield from _verify(row, f"{row.site or row.hangs_on}, file {row.name}", row.withdrawn_at)
    gone = DecidedFile.objects.exclude(laboratory_report=None).exclude(gone_at=None)
    known = set(gone.values_list("laboratory_report", flat=True))
    papers = LaboratoryReport.objects.select_related("concentrate_check__site").order_by("pk")
    for paper in papers.iterator(chunk_size=500):
        place = f"{paper.concentrate_check.site}, paper of a laboratory {paper.name}"
        yield from _verify(paper, place, None, asked=paper.pk in known)
    seen = AuthorityFile.objects.select_related("visit__site").order_by("pk")
    for held in seen.iterator(chunk_size=500):
        place = f"{held.visit.site}, file {held.name} of a visit of an authority"
        yield from _verify(held, place, held.withdrawn_at, asked=False)


def _verify(row: Any, place: str, withdrawn_at: Any, *, asked: bool = True) -> Iterator[Finding]:
    there = default_storage.exists(row.file.name)
    if asked and (words := gone_words(row)):
        back = " The store holds it again; nobody is shown it." if there else ""
        yield Finding("let_go", place, f"{words[0].upper()}{words[1:]}.{back}")
    elif not there:
        if withdrawn_at is None:
            yield Finding("lost", place, "The store has lost it, and nobody decided so.")
    elif _digest(row.file.name) != row.sha256:
        yield Finding("altered", place, "The stored bytes are not those that were noted.")


def _digest(name: str) -> str:
    found = hashlib.sha256()
    with default_storage.open(name) as file:
        while chunk := file.read(CHUNK):
            found.update(chunk)
    return found.hexdigest()
