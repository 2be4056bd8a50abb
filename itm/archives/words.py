"""What an archive says of itself: the page for people, and the description of its columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db import models

from itm.archives.columns import Column, columns
from itm.archives.tables import NATURAL, TABLES, Table

KINDS: tuple[tuple[type[models.Field], str], ...] = (
    (models.JSONField, "JSON"),
    (models.BooleanField, "true or false"),
    (models.DateTimeField, "instant in UTC, ISO 8601"),
    (models.DateField, "day, ISO 8601"),
    (models.DecimalField, "decimal number, as text"),
    (models.FloatField, "number"),
    (models.IntegerField, "whole number"),
    (models.UUIDField, "key, as text"),
    (models.FileField, "file: stored_as, its name in the store; place, where it lies here"),
    (models.BinaryField, "place of the bytes in this archive"),
)


@dataclass(frozen=True)
class Facts:
    site: str
    owner: str
    at: datetime
    counts: Mapping[str, int]
    lacks: Sequence[str]
    demo: bool
    newest: tuple[int, str] | None
    fold: str


def readme(facts: Facts) -> str:
    invented = (
        "EVERYTHING IN IT IS INVENTED: it comes from the demo. Organisations, people, makers and\n"
        "figures stand for nothing real, and nothing here may be relied on.\n\n"
        if facts.demo
        else ""
    )
    sealed = (
        f"The newest seal is number {facts.newest[0]}:\n{facts.newest[1]}\n"
        if facts.newest
        else "No record of the site is sealed yet.\n"
    )
    folded = f"\n{facts.fold}\n" if facts.fold else ""
    lacks = "".join(f"- {one}\n" for one in facts.lacks) or "- nothing\n"
    counts = "".join(f"{count:>9,}  {name}\n" for name, count in facts.counts.items() if count)
    return f"""Archive of a site
=================

{invented}Site:   {facts.site}
Owner:  {facts.owner}
As at:  {facts.at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC

What is what
------------
tables/       the site in words, for people: open them with a spreadsheet
reports/      the report of each sealed record as PDF, by the number of its seal
attachments/  photos and papers as they came; tables/files.csv says what each is
previews/     small pictures of the photos
laboratory/   the papers of laboratories
sealed/       the bytes of each sealed record, exactly as they were signed
handed-in/    the bytes of each hand-in, also of those that were sent back
data/         every row of the site, one JSON object a line; FORMAT.txt describes each column
manifest.json size and SHA-256 of each file, and how many rows there are

How to check it
---------------
The SHA-256 of a file in sealed/ is the digest of its seal, and the one on its paper report. Each
names the digest of the seal before it ("previous" under "seal"), from number 1 on without a gap.
{sealed}{folded}
How to bring it in
------------------
In an empty installation of the same program: manage.py import_site FILE. It checks each digest,
takes in all or nothing, and says what it did.

What is in it, and what is not
------------------------------
It is what the owner sees of the site. A draft is its author's until it is handed in, so of drafts
only the owner's own are here; a record that went back to its author or was given up after a
deficiency was opened on it is here as a bare row, because the deficiency names it. A visit that
has not begun is the contractor's plan and is not here.
An instrument is here where a record names it, with the certificates that were in force on the days
of those records. Its history is its keeper's; what it was on the day stands in the sealed bytes.
A lot is here where the site holds or held it. Of a programme all rows are here as soon as one is
named.
People are here by name, qualification and licence where a row points to them; never their mail
address, password, or anything by which they sign in. Names also stand in the history as text.
A file that was withdrawn is named and its bytes are not here. Nor are those of a file that was let
go: data/decided-files.jsonl names it with its digest, and data/keeping-decisions.jsonl who decided
so, when, why and under which rule.
Links for readers, tokens, invitations, news and the tables of imports are not here: they belong to
the installation or to the organisation that brought them.

Files that could not be put in, or are not as they were noted:
{lacks}
Rows
----
{counts}
Caution
-------
A foam system protects lives. This is a record of tests and no judgement of today: a qualified
person decides, and local codes, the listing of the equipment and licensed practice come first.
"""


def layout() -> str:
    """Every table and column, read from the same list that the rows are written by."""
    parts = [
        "Columns of the files in data/\n"
        "=============================\n\n"
        "Each line is one JSON object (RFC 8259) in UTF-8, its names in order. Rows stand in the "
        "order in\nwhich they were made; those of rules by their names. A row is named by its key. "
        "A rule that every\ninstallation has is named by its codes, several of them as a list. "
        "What a person typed is text,\nas typed; the same quantity beside it is in SI units.\n\n"
        "history.jsonl holds the changes of these rows: at, person_key, person, organisation, via "
        "(from\nwhere), of (the table), key (the row), verb, note, before and after. A name in "
        "before or after that\nends in _id holds the key of the row it points to.\n"
    ]
    return "\n".join(parts + [_table(table) for table in TABLES])


def _table(table: Table) -> str:
    named = ", ".join(NATURAL.get(table.model, ("key",)))
    lines = [f"{table.name}.jsonl (a row is named by {named.replace('__', ' ')})"]
    lines += [f"  {column.name}: {_kind(column)}" for column in columns(table)]
    return "\n".join(lines) + "\n"


def _kind(column: Column) -> str:
    empty = ", or null" if column.field.null else ""
    told = f". {column.field.help_text}" if column.field.help_text else ""
    if (other := column.points_to) is not None:
        return f"row of {other.name}{empty}{told}"
    words = next((words for kind, words in KINDS if isinstance(column.field, kind)), "text")
    return f"{words}{empty}{told}"
