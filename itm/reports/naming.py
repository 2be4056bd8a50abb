"""What a report is called as a file."""

from typing import Any

from django.utils.text import slugify

from itm.reports.queries import SealedRecord
from itm.reports.wording import SiteClock

LONGEST = 100  # letters before the ending: what unpacks on every system with a folder before it


def thing(document: dict[str, Any]) -> tuple[str, str]:
    """What the record is of, and its tag."""
    if "proportioner" in document:
        return "proportioner", document["proportioner"]["tag"]
    return "tank", document["tank"]["tag"]


def file_name(record: SealedRecord, of: str = "") -> str:
    """Site, tag and day, in letters that no file system refuses; `of` sets a copy apart."""
    document = record.document
    on = SiteClock.of(document).tested_on.isoformat()
    end = f"-{on}-{of}" if of else f"-{on}"
    words = slugify(" ".join((document["site"]["name"], thing(document)[1])))
    return f"{words[: LONGEST - len(end)].strip('-') or 'report'}{end}.pdf"
