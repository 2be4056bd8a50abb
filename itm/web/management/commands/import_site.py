"""Begin an empty installation with the archive of a site: `manage.py import_site FILE`."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from itm.archives.bringing import Came, bring, require_empty
from itm.archives.reading import opened
from itm.core.errors import Refused


class Command(BaseCommand):
    help = (
        "Take the archive of a site into an empty installation: all of it or nothing. Every digest "
        "is checked first, every seal and result afterwards, and the data have to come out again "
        "as they came in. People come along by name and cannot sign in; let the first one in by "
        "add_person."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--sha256", default="", help="the digest that the page showed")
        parser.add_argument("--look", action="store_true", help="check the file, take nothing in")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with opened(options["file"]) as (archive, sha256):
                self.stdout.write(f"SHA-256 of the file: {sha256}")
                if options["sha256"] and options["sha256"].strip().lower() != sha256:
                    raise Refused(
                        "other_file", "This is not the file of that digest; nothing was taken in."
                    )
                if not options["look"]:
                    require_empty()
                self.stdout.write(f"Checking {len(archive.files):,} files.")
                archive.check()
                if options["look"]:
                    self.stdout.write("Every file is as it was put in. Nothing was taken in.")
                    return
                came = bring(archive, sha256, at=timezone.now(), say=self.stdout.write)
        except Refused as refusal:
            raise CommandError(refusal.sentence) from refusal
        self._say(came, invented=bool(archive.manifest.get("invented")))

    def _say(self, came: Came, *, invented: bool) -> None:
        for note in came.notes:
            self.stdout.write(f"No fault, and worth knowing: {note}")
        self.stdout.write(
            f"{came.site} of {came.owner}: {came.rows:,} rows, {came.files:,} files, "
            f"{came.seals:,} sealed records. The data come out again as they came in."
        )
        if came.opened:
            self.stdout.write(
                f"{came.opened:,} deficiencies were opened that its records show and it did not "
                "have; each says so."
            )
        if invented:
            self.stdout.write("Everything in it is invented: the archive came from a demo.")
        self.stdout.write(
            f"{came.people:,} people came along by name; none of them can sign in. Let the first "
            f'person in: manage.py add_person MAIL NAME --organisation "{came.owner}" --kind owner'
        )
