"""Files with tables: looked through and taken in at once, or by the worker where they are long."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from itm.accounts.actor import Actor, acting
from itm.accounts.models import Membership
from itm.actions.import_history import import_history
from itm.actions.import_readings import import_readings
from itm.actions.import_registry import import_registry
from itm.actions.import_values import import_values
from itm.core import outbox
from itm.core.errors import ItmError, Refused
from itm.intake import uploads
from itm.intake.looking import look
from itm.intake.models import Upload

AT_ONCE = 300_000  # bytes: up to about half a second while somebody waits; own choice
FILE_TRIES = 3  # with the waits between them three minutes; own choice
STEP = 8_000  # rows between two notes of how far it is
GAVE_UP_LOOKING = (
    "The look through it failed several times, by no fault that it could name. Try again; if it "
    "fails again, save the table as CSV, and tell whoever runs this server the name of the file."
)
GAVE_UP_TAKING = (
    "Taking it in failed several times, so nothing of it was taken in. Try again; if it fails "
    "again, tell whoever runs this server the name of the file."
)
State, Kind = Upload.State, Upload.Kind
DEEDS: dict[str, Any] = {
    Kind.HISTORY: import_history, Kind.PAST_CHECKS: import_history,
    Kind.PAST_INSPECTIONS: import_history,
    Kind.READINGS: import_readings, Kind.VALUES: import_values,
}  # fmt: skip


def look_through(*, actor: Actor, row: Upload) -> Upload:
    """After the file came and after every answer. A long file waits for the worker."""
    if row.size <= AT_ONCE:
        look(actor=actor, row=row)
        return row
    return _promise(actor, row, State.WAITING, "look_through_file")


def take_up(*, actor: Actor, row: Upload, at: datetime) -> Upload:
    """Take the file in, all of it or nothing. May run twice.

    Raises what the action of its kind raises; of a long file that stands on its page.
    """
    if row.state not in (State.READY, State.DONE):
        raise Refused("not_ready", "Not everything about this file is settled yet.")
    if row.state == State.DONE or row.size <= AT_ONCE:
        return _deed(row)(actor=actor, key=row.key, at=at)
    return _promise(actor, row, State.TAKING, "take_file_in")


def _deed(row: Upload) -> Any:
    return DEEDS.get(row.kind, import_registry)


@transaction.atomic
def _promise(actor: Actor, row: Upload, state: str, kind: str) -> Upload:
    row.state, row.read_rows = state, 0
    row.findings = {name: one for name, one in row.findings.items() if name != "refused"}
    row.save(by=actor, verb="promised")
    member = Membership.objects.get(user=actor.user, organisation=actor.organisation_id)
    outbox.add(kind, upload=str(row.key), member=str(member.key))
    return row


def look_through_file(upload: str, member: str) -> None:
    """Job. May run twice: what was looked through, dropped or taken in stays as it is."""
    actor = _who(member)
    row = uploads.upload(actor, UUID(upload))
    if row.state != State.WAITING:
        return

    def progress(rows: int) -> None:
        if rows - row.read_rows >= STEP:
            row.read_rows = rows
            row.save(by=actor)

    look(actor=actor, row=row, progress=progress)


def take_file_in(upload: str, member: str) -> None:
    """Job. May run twice. A refusal is an answer and no fault: it stands on the page."""
    actor = _who(member)
    row = uploads.upload(actor, UUID(upload))
    if row.state != State.TAKING:
        return
    try:
        _deed(row)(actor=actor, key=row.key, at=timezone.now())
    except ItmError as refusal:
        row.state = State.OPEN
        row.findings = {**row.findings, "refused": refusal.sentence}
        row.save(by=actor, verb="refused", text=refusal.sentence)


def file_given_up(upload: str, member: str) -> None:
    """The page of a file whose job failed again and again stops waiting and says what to do.

    May run twice. What failed in between may be the server's fault as well as the file's, so both
    ways on are named and one button tries again.
    """
    actor = _who(member)
    with transaction.atomic():
        row = uploads.locked(actor, UUID(upload))
        if row.state == State.WAITING:
            row.findings = {"stop": GAVE_UP_LOOKING, "stop_code": "gave_up"}
            row.state = State.OPEN
        elif row.state == State.TAKING:
            row.findings = {**row.findings, "refused": GAVE_UP_TAKING}
            row.state = State.READY
        else:
            return
        row.save(by=actor, verb="given up")


def _who(member: str) -> Actor:
    found = Membership.objects.select_related("user", "organisation").get(key=member)
    now = timezone.now()
    return acting(found, now.date(), via="file", at=now)
