"""`manage.py demo`: an invented world, loaded once and served."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from itm.demo.load import kind_of_database, load
from itm.demo.scenario import scenario

LOGINS = [
    ("owner@example.org", "facility owner: what is due and what is wrong"),
    ("contractor@example.org", "contractor: visits, drafts, what waits for a signature"),
    ("inspector@example.org", "authority: all systems of the jurisdiction, and their trends"),
]


class Command(BaseCommand):
    help = "Load an invented world into a new database and serve it. May run twice."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="on 127.0.0.1 (8000)")
        parser.add_argument("--no-serve", action="store_true", help="load only")

    def handle(self, *args: Any, **options: Any) -> None:
        name = connection.settings_dict["NAME"]
        kind = kind_of_database()
        if kind == "other":
            raise CommandError(
                f"The database {name} holds something else, so the demo stays out of it. Name a "
                "new one in DATABASE_URL, or an empty folder in ITM_DATA."
            )
        if kind == "unfinished":
            raise CommandError(
                f"Loading the demo into {name} was interrupted. Remove that database (on the "
                "small set-up the folder .var) and start again."
            )
        call_command("migrate", verbosity=0, interactive=False)
        if kind == "new":
            load(timezone.now(), scenario(), self._progress)
        self._say(options["port"], served=not options["no_serve"])
        if not options["no_serve"]:
            call_command("runserver", f"127.0.0.1:{options['port']}", use_reloader=False)

    def _progress(self, done: int, of: int) -> None:
        if done % 10 == 0 or done == of:
            self.stdout.write(f"Invented history: {done} of {of} test days")

    def _say(self, port: int, *, served: bool) -> None:
        if served:
            self.stdout.write(f"The demo is at http://127.0.0.1:{port}/ (Ctrl-C stops it)")
        self.stdout.write("Sign in as")
        for email, who in LOGINS:
            self.stdout.write(f"  {email:24} {who}")
        self.stdout.write(f"each with the password: {scenario()['password']}")
        self.stdout.write("Everything in it is invented: organisations, people and figures.")
        self.stdout.flush()
