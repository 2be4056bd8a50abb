"""Open what records in force show and no deficiency names: `manage.py open_deficiencies`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import transaction
from django.utils import timezone

from itm.accounts.actor import system
from itm.findings.catching_up import Caught, catch_up
from itm.registry.models import Site


class Command(BaseCommand):
    help = (
        "Look through the records that are handed in or sealed and not corrected, and open a "
        "deficiency for whatever is outside its limits, has none, and was found right by no later "
        "sealed record. For an installation with records from before it kept deficiencies. A "
        "second run opens nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--look", action="store_true", help="tell, and open nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        look, now = options["look"], timezone.now()
        by = system(now.date(), at=now)
        sites = opened = 0
        for site in Site.objects.select_related("owner").order_by("owner__name", "name", "pk"):
            with transaction.atomic():
                caught = catch_up(actor=by, site=site, at=now)
                transaction.set_rollback(look)
            sites += 1
            opened += len(caught.opened)
            self._say(site, caught, "would open" if look else "opened")
        done = "would be opened" if look else "opened"
        self.stdout.write(f"{sites:,} sites looked through, {opened:,} deficiencies {done}.")

    def _say(self, site: Site, caught: Caught, verb: str) -> None:
        if not caught.opened and not caught.named:
            return
        older = f", {len(caught.named)} older records noted" if caught.named else ""
        self.stdout.write(f"{site} of {site.owner}: {verb} {len(caught.opened)}{older}")
        for row in caught.opened:
            self.stdout.write(f"  {row.get_severity_display()}, {row.found_on}: {row.words}")
