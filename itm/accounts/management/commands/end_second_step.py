"""For somebody who lost device and paper: `manage.py end_second_step ann@example.org`."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from itm.accounts.actor import system
from itm.accounts.models import User
from itm.accounts.second_factor import lift
from itm.core.errors import Refused


class Command(BaseCommand):
    help = (
        "End the second step of a person's sign-in. Make sure first who asks: the password alone "
        "lets in afterwards. The person is told by mail."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email__iexact=options["email"]).first()
        if user is None:
            raise CommandError("Nobody here has this address.")
        try:
            lift(by=system(timezone.now().date()), user=user)
        except Refused as refusal:
            raise CommandError(refusal.sentence) from refusal
        self.stdout.write(f"The second step of {user} is off.")
