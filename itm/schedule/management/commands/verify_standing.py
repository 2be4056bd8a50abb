"""Compare every stored standing with its dates: `manage.py verify_standing`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from itm.accounts.actor import system
from itm.schedule import standing, sweep
from itm.schedule.models import Duty


class Command(BaseCommand):
    help = (
        "Bring the stored standings up to this day, then look at each against its dates and its "
        "site's clock. What differs is listed and, with --mend, put right. Exit 1: some differ."
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
        self.stdout.write(
            f"{Duty.objects.count()} duties looked at, {moved} moved by the day, {len(found)} "
            f"{'put right' if options['mend'] else 'differ'}."
        )
        if options["mend"]:
            standing.write(found)
        elif found:
            raise SystemExit(1)
