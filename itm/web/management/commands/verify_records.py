"""Recompute every chain and every evaluation: `manage.py verify_records`."""

from argparse import ArgumentTypeError
from datetime import UTC, date, datetime, time
from pathlib import Path
from time import monotonic
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser, OutputWrapper
from django.template.defaultfilters import filesizeformat
from django.utils import timezone

from itm.core import folding
from itm.records import known
from itm.records.chain import Finding, how_many, verify
from itm.reports.verifying import how_many_reports, unsealed_reports, verify_reports
from itm.retention.verifying import how_many_files, verify_files

RECORDS, FILES = "records", "files"
PAUSE = {True: 0.2, False: 10.0}  # seconds from word to word, on a terminal and in a log
CLEAR = "\r\x1b[K"  # ECMA-48, erase in line


def beginning_of(text: str) -> datetime:
    try:
        return datetime.combine(date.fromisoformat(text), time.min, UTC)
    except ValueError as error:
        raise ArgumentTypeError(
            f"{text} is no day: write year, month and day, 2026-11-30"
        ) from error


def digests_of(path: Path) -> list[known.Held]:
    """Raises CommandError where the file cannot be read or holds no digest."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as wrong:
        raise CommandError(f"{path} cannot be read: {wrong.strerror}.") from wrong
    held = known.digests_in(text)
    if not held:
        raise CommandError(
            f"{path} holds no digest. A digest has 64 characters from 0 to 9 and a to f; reports "
            "print it in eight groups of eight."
        )
    return held


class Command(BaseCommand):
    help = (
        "Check hash, link, rows and recomputation of every sealed record and every stored file "
        "and report against its digest, and report all findings. Exit 1: a seal is broken, or a "
        "file is lost or altered. Exit 3: the same engine version computes something else. Records "
        "of another engine version, files let go by decision and lines of the history that came "
        "late or that no fold has taken in are listed and are no fault. How far it is stands on "
        "the terminal."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--only", choices=[RECORDS, FILES],
            help="records: seals, chains, rows and results, and no file is read. files: the "
            "stored files with the reports, and no record.",
        )  # fmt: skip
        parser.add_argument(
            "--since", type=beginning_of, metavar="DAY",
            help="of the files only those that came on this day (UTC) or later. An older one that "
            "was lost or altered meanwhile is not found so; records are looked at all the same.",
        )  # fmt: skip
        parser.add_argument(
            "--progress", action="store_true",
            help="say how far it is also where the errors go to no terminal, a line every ten "
            "seconds",
        )  # fmt: skip

        parser.add_argument(
            "--known", metavar="FILE", type=Path,
            help="a text with digests that left with a mail, a calendar, the README.txt of an "
            "archive or on paper, as they stand there, one or many: each that no record and no "
            "fold of the history has any more is a finding. A chain that was written anew as a "
            "whole shows only so.",
        )  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        self.progress = Progress(self.stderr, asked=options["progress"])
        self.found: list[str] = []
        path: Path | None = options["known"]
        outside = [] if path is None else digests_of(path)
        said = []
        if options["only"] != FILES:
            said.append(self._records())
        if options["only"] != RECORDS:
            said.append(self._files(options["since"]))
        if path is not None:
            said.append(f"{len(outside)} digests of {path.name}")
            for finding in known.missing(outside, path.name):
                self._tell(finding)
        self.progress.clear()
        self.stdout.write(f"{' and '.join(said)} looked at, {len(self.found)} findings.")
        if {"broken", "lost", "altered"} & {*self.found}:
            raise SystemExit(1)
        if "differs" in self.found:
            raise SystemExit(3)

    def _records(self) -> str:
        of, done = how_many(), 0

        def seen() -> None:
            nonlocal done
            done += 1
            self.progress.say(f"{done:,} of {of:,} sealed records", last=done == of)

        for finding in verify(seen):
            self._tell(finding)
        for finding in unsealed_reports():
            self._tell(finding)
        folds = folding.how_many()
        for fault in folding.verify(timezone.now()):
            self._tell(fault)
        more = f", {folds} folds of the history" if folds else ""
        return f"{of} sealed records{more}"

    def _files(self, since: datetime | None) -> str:
        counted = how_many_files(since=since), how_many_reports(since=since)
        of, bytes_of = (sum(both) for both in zip(*counted, strict=True))
        done = bytes_done = 0

        def seen(size: int) -> None:
            nonlocal done, bytes_done
            done, bytes_done = done + 1, bytes_done + size
            words = f"{done:,} of {of:,} files, {plain(bytes_done)} of {plain(bytes_of)}"
            self.progress.say(words, last=done == of)

        for finding in verify_files(since=since, seen=seen):
            self._tell(finding)
        for finding in verify_reports(since=since, seen=seen):
            self._tell(finding)
        came = f" that came since {since:%Y-%m-%d}" if since else ""
        return f"{of} stored files{came} ({plain(bytes_of)})"

    def _tell(self, finding: Finding | folding.Fault) -> None:
        """At once, so that who stops a long run has seen what it found."""
        self.found.append(finding.kind)
        self.progress.clear()
        self.stdout.write(f"{finding.kind}: {finding.place}: {finding.sentence}")


class Progress:
    """How far it is, beside what was found: on a terminal one line that is written over."""

    def __init__(self, stream: OutputWrapper, *, asked: bool) -> None:
        self.stream, self.over = stream, stream.isatty()
        self.shown = asked or self.over
        self.next = monotonic()

    def say(self, words: str, *, last: bool) -> None:
        if self.shown and (last or monotonic() >= self.next):
            self._write(f"{CLEAR}{words}" if self.over else f"{words}\n")
            self.next = monotonic() + PAUSE[self.over]

    def clear(self) -> None:
        if self.over:
            self._write(CLEAR)

    def _write(self, text: str) -> None:
        self.stream.write(text, str, ending="")
        self.stream.flush()


def plain(size: int) -> str:
    return str(filesizeformat(size)).replace("\xa0", " ")
