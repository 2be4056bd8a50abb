"""Let the first people in: `manage.py add_person ann@example.org "Ann Example" …`."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from itm.accounts.actor import system
from itm.accounts.models import Membership, Organisation
from itm.accounts.services import add_person
from itm.core.errors import Refused


class Command(BaseCommand):
    help = (
        "Add a person to an organisation; both are made when they are new. The password is asked "
        "for, or read from standard input when that is not a terminal."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")
        parser.add_argument("name")
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--kind", required=True, choices=Organisation.Kind.values)
        parser.add_argument(
            "--role", default=Membership.Role.MANAGER, choices=Membership.Role.values
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if sys.stdin.isatty():
            password = getpass.getpass("Password: ")
            if password != getpass.getpass("Once more: "):
                raise CommandError("The two passwords differ; nothing was saved.")
        else:
            password = sys.stdin.readline().rstrip("\n")
        try:
            membership = add_person(
                by=system(timezone.now().date()),
                email=options["email"],
                name=options["name"],
                organisation=options["organisation"],
                kind=options["kind"],
                role=options["role"],
                password=password,
            )
        except Refused as refusal:
            raise CommandError(refusal.sentence) from refusal
        self.stdout.write(f"{membership}, {membership.get_role_display().lower()}.")
