"""Digests that left this installation with a mail, a calendar, an archive or on paper: is each
still here?

Whoever holds the database can write its chain anew, and nothing in it would show that. A digest
that lies elsewhere does.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from itm.core.folding import Fold
from itm.records.chain import Finding
from itm.records.models import Evaluation, LaboratoryReport, Move, Seal, Witness
from itm.registry.models import Attachment

# As a person copies them: in capitals, in groups, or broken by the end of a line.
BETWEEN = "[\\s\u00ad\u200b\u2009\u202f·]*"
DIGEST = re.compile(f"(?<![0-9a-f])(?:[0-9a-f]{BETWEEN}){{63}}[0-9a-f](?![0-9a-f])")
AT_A_TIME = 500
# Papers print these beside the digest of the record, so they are no sign of anything.
OTHERS: Sequence[tuple[Any, str]] = (
    (Evaluation, "inputs_digest"), (Move, "digest"), (Witness, "digest"),
    (LaboratoryReport, "sha256"), (Attachment, "sha256"),
)  # fmt: skip


@dataclass(frozen=True)
class Held:
    """A digest as it stands in a text, and the line where it begins."""

    digest: str
    line: int


def digests_in(text: str) -> list[Held]:
    """Every digest of 64 hexadecimal characters, each once."""
    found: dict[str, Held] = {}
    for match in DIGEST.finditer(text.lower()):
        digest = re.sub(BETWEEN, "", match[0])
        found.setdefault(digest, Held(digest, text.count("\n", 0, match.start()) + 1))
    return list(found.values())


def missing(held: Sequence[Held], name: str) -> Iterator[Finding]:
    """A finding for each digest of the text `name` that nothing here has."""
    there = _there([one.digest for one in held])
    for one in held:
        if one.digest not in there:
            words = (
                f"No record here has the digest {one.digest}, and no fold of the history; what "
                "bore it is gone or changed."
            )
            yield Finding("broken", f"{name}, line {one.line}", words)


def _there(digests: Sequence[str]) -> set[str]:
    out: set[str] = set()
    for model, column in ((Seal, "digest"), (Fold, "digest"), *OTHERS):
        for start in range(0, len(digests), AT_A_TIME):
            some = {f"{column}__in": digests[start : start + AT_A_TIME]}
            out.update(model._base_manager.filter(**some).values_list(column, flat=True))
    return out
