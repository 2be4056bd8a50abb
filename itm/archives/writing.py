"""Write the archive of a site: first all rows as they are at one moment, then the files."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.files.storage import default_storage

import calc
from itm.archives import sheets, words
from itm.archives.columns import Reader, line, told
from itm.archives.lines import lines
from itm.archives.models import BroughtIn
from itm.archives.tables import BY_MODEL, TABLES, Model, Sight
from itm.archives.zipping import Entry, Sink, chunks
from itm.core import folding
from itm.core.csv_text import csv_lines
from itm.core.errors import Refused
from itm.core.making import Progress
from itm.core.models import Installation
from itm.core.snapshot import snapshot
from itm.records.models import Move, Seal
from itm.registry.models import Site
from itm.retention.letting import gone_names

FORM = 1  # of the archive; it moves when an older program could misread a newer archive
KIND = "archive of a site"
PACKED = (".jpg", ".png", ".webp", ".pdf")  # are not made smaller by packing them again


@dataclass
class Written:
    """What became of it. `lacks`: files that are not in it, or not as they were noted."""

    counts: dict[str, int] = field(default_factory=dict)
    newest: tuple[int, str] | None = None
    lacks: list[str] = field(default_factory=list)
    files: int = 0

    @property
    def rows(self) -> int:
        return sum(self.counts.values())


@dataclass(frozen=True)
class Stored:
    """A file of the store, its place in the archive and the digest that was noted of it."""

    name: str
    place: str
    sha256: str


def write(sink: Sink, sight: Sight, *, at: datetime, progress: Progress | None = None) -> Written:
    """Everything but what the manifest says of the rest. Memory does not grow with photos.

    Raises Stopped; Refused not_whole where a row names one that is not in the archive.
    """
    done = Written()
    with snapshot():
        files = write_rows(sink, sight, done)
        for sheet in sheets.SHEETS:
            told_to_people = csv_lines(sheet.head, sheet.rows(sight))
            sink.add(f"tables/{sheet.name}.csv", (text.encode() for text in told_to_people))
        demo, fold = invented(sight.site), folding.newest()
    _write_files(sink, files, done, progress)
    site = sight.site
    facts = words.Facts(
        site=site.name, owner=site.owner.name, at=at, counts=done.counts, lacks=done.lacks,
        demo=demo, newest=done.newest, fold=folding.told(fold),
    )  # fmt: skip
    sink.add("README.txt", [words.readme(facts).encode()])
    sink.add("FORMAT.txt", [words.layout().encode()])
    manifest = {
        "kind": KIND,
        "form": FORM,
        "engine_version": calc.__version__,
        "site": {"key": str(site.key), "name": site.name, "owner": str(site.owner.key)},
        "taken_at": told(at),
        "invented": demo,
        "newest_seal": done.newest and {"number": done.newest[0], "digest": done.newest[1]},
        "history_fold": fold and {"made_at": told(fold.made_at), "digest": fold.digest},
        "counts": done.counts,
        "lacks": done.lacks,
        "files": [one.told() for one in sink.entries],
    }
    text = json.dumps(manifest, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    sink.add("manifest.json", [text.encode()])
    done.files = len(sink.entries)
    return done


def invented(site: Site) -> bool:
    """Of the demo, or of the archive of one."""
    here = Installation.objects.filter(kind=Installation.Kind.DEMO).exists()
    return here or BroughtIn.objects.filter(site=site, invented=True).exists()


def write_rows(
    sink: Sink, sight: Sight, done: Written, without: Mapping[str, frozenset[str]] | None = None
) -> list[Stored]:
    """The data alone, the same bytes for the same rows; what files belong to them. `without`: by
    table, columns that an older archive did not have."""
    left = without or {}
    gone = frozenset(gone_names(sight.site))
    named: dict[Model, set[int]] = {}
    written: dict[Model, set[int]] = {}
    files: list[Stored] = []
    keys: dict[str, list[str]] = {}
    for table in TABLES:
        reader = Reader(table, table.rows(sight, named), default_storage.exists,
                        left.get(table.name, frozenset()), gone)  # fmt: skip
        keep = written.setdefault(table.model, set())
        sink.add(
            f"data/{table.name}.jsonl",
            _rows(reader, named, keep, keys.setdefault(table.name, []), files, done),
        )
        done.counts[table.name] = len(keep)
        done.lacks += [f"{place}: the file is no longer in the store." for place in reader.lacking]
    _require_whole(named, written)
    count = 0

    def history() -> Iterator[bytes]:
        nonlocal count
        for count, one in enumerate(lines(sight, keys), 1):  # noqa: B007
            yield line(one)

    sink.add("data/history.jsonl", history())
    done.counts["history"] = count
    _write_documents(sink, sight, done)
    return files


def _rows(
    reader: Reader, named: dict[Model, set[int]], keep: set[int], keys: list[str],
    files: list[Stored], done: Written,
) -> Iterator[bytes]:  # fmt: skip
    for pk, row, points in reader:
        keep.add(pk)
        if reader.table.history:
            keys.append(row["key"])
        for model, other in points:
            named.setdefault(model, set()).add(other)
        for column in reader.columns:
            held = row[column.name]
            if column.is_file and held and held["place"]:
                # Of the small picture beside a photo no digest is kept.
                noted = row.get("sha256", "") if column.name == "file" else ""
                files.append(Stored(held["stored_as"], held["place"], noted))
        if reader.table.model is Seal and (done.newest is None or row["number"] > done.newest[0]):
            done.newest = row["number"], row["digest"]
        yield line(row)


def _require_whole(named: dict[Model, set[int]], written: dict[Model, set[int]]) -> None:
    for model, pks in named.items():
        if lost := sorted(pks - written.get(model, set())):
            row: Any = model._default_manager.filter(pk=lost[0]).first()
            raise Refused(
                "not_whole",
                f"The archive would not be whole: {len(lost)} of its rows name something in "
                f"“{BY_MODEL[model].name}” that is not yours to see, first {row}. Tell whoever "
                "runs this server.",
            )


def _write_documents(sink: Sink, sight: Sight, done: Written) -> None:
    """The bytes that were sealed, and those that were handed in, each as a file of its own: its
    SHA-256 is the digest that paper and chain show."""
    seals = sight.at(Seal).order_by("pk").values_list("number", "digest", "document")
    for number, digest, document in seals.iterator(chunk_size=20):
        entry = sink.add(f"sealed/seal-{number:05d}.json", [bytes(document)])
        if entry.sha256 != digest:
            done.lacks.append(f"{entry.path}: these bytes do not give the digest of their seal.")
    moves = sight.of_records(Move).exclude(document=None).order_by("pk")
    for key, document in moves.values_list("key", "document").iterator(chunk_size=20):
        sink.add(f"handed-in/{key}.json", [bytes(document)])


def _write_files(sink: Sink, files: list[Stored], done: Written, progress: Progress | None) -> None:
    if progress:
        progress.begin("files", len(files))
    for one in files:
        with default_storage.open(one.name) as file:
            entry: Entry = sink.add(one.place, chunks(file), packed=not one.place.endswith(PACKED))
        if one.sha256 and entry.sha256 != one.sha256:
            done.lacks.append(f"{one.place}: the stored file is not the one that was noted.")
        if progress:
            progress.add()
