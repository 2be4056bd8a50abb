"""Compare what is stored of standing with dates and records: `manage.py verify_standing`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from itm.accounts.actor import system
from itm.records import latest
from itm.schedule import standing, sweep
from itm.schedule.models import Duty


class Command(BaseCommand):
    help = (
        "Bring the stored standings up to this day, then look at each against its dates and its "
        "site's clock, and at the latest record of each proportioner against its records. What "
        "differs is listed and, with --mend, put right. Exit 1: some differ."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--mend", action="store_true", help="put right what differs")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        moved = sweep.sweep(now)
        by = system(now.date(), at=now)
        found = list(standing.differing(Duty.objects.select_related("requirement"), by))
        for duty in found:
            was = duty._loaded["stands"]
            self.stdout.write(f"{duty.site}: {duty}: stored {was}, {duty.stands} by its dates")
        unlike = list(latest.differing())
        for test in unlike:
            self.stdout.write(f"{test.proportioner}: latest is the record of {test.tested_on}")
        self.stdout.write(
            f"{Duty.objects.count()} duties looked at, {moved} moved by the day, "
            f"{len(found) + len(unlike)} {'put right' if options['mend'] else 'differ'}."
        )
        if options["mend"]:
            standing.write(found)
            for test in unlike:
                latest.write(test)
        elif found or unlike:
            raise SystemExit(1)
