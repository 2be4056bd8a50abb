"""Ask for the archive of a site, cancel it, make it, and let it go when its days are over."""

import tempfile
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import BinaryIO
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from itm.accounts.actor import Actor, acting, open_memberships, system
from itm.accounts.models import Membership
from itm.archives.models import BroughtIn, SiteArchive
from itm.archives.tables import Sight
from itm.archives.writing import write
from itm.archives.zipping import ZipSink
from itm.core import making, outbox
from itm.core.errors import Conflict, Forbidden, ItmError, NotFound, Refused
from itm.core.making import Progress, Stopped
from itm.registry import services as registry
from itm.registry.models import Site

KEPT = timedelta(days=7)  # own choice: long enough to fetch it, short enough for the disk
TRIES = 3  # with the waits between them three minutes; own choice
WHAT = "make or fetch the archive of a site"
JOB = "make_archive"
GAVE_UP = (
    "Making it failed several times, by no fault that it could name. Ask for another; if that "
    "fails too, tell whoever runs this server the name of the site."
)
State = SiteArchive.State


def require_keeper(actor: Actor, site: Site) -> None:
    """A supervisor or manager of the owner: the archive holds everything at once, names among it.

    An authority reads all that it may see on its pages; an archive holds what the owner sees, such
    as records that are handed in and not signed, so it is the owner's to make and to give.
    """
    registry.require_keeper(actor, site, WHAT)


def may_keep(actor: Actor, site: Site) -> bool:
    """For a link that leads there."""
    try:
        require_keeper(actor, site)
    except Forbidden:
        return False
    return True


def archives(actor: Actor, site: Site) -> Sequence[SiteArchive]:
    """Of this site, the newest first. Raises Forbidden."""
    require_keeper(actor, site)
    return list(SiteArchive.objects.visible_to(actor).filter(site=site))


def archive(actor: Actor, key: UUID) -> SiteArchive:
    """Raises NotFound to strangers, Forbidden to who belongs to the owner and keeps nothing."""
    rows = SiteArchive.objects.visible_to(actor).select_related("site__owner")
    row = rows.filter(key=key).first()
    if row is None:
        raise NotFound("archive", key)
    require_keeper(actor, row.site)
    return row


def ask(*, actor: Actor, site: Site, at: datetime) -> SiteArchive:
    """Promise it. One that is being made already is the answer to a second asking.

    Raises Forbidden.
    """
    require_keeper(actor, site)
    busy = SiteArchive.objects.filter(site=site, state__in=SiteArchive.BUSY)
    if (row := busy.first()) is not None:
        return row
    member = Membership.objects.get(
        user=actor.user, organisation=actor.organisation_id, ended_on=None
    )
    try:
        with transaction.atomic():
            row = SiteArchive(site=site, member=member, asked_at=at, asked_by=actor.person)
            row.save(by=actor, verb="asked")
            outbox.add(JOB, archive=str(row.key))
    except IntegrityError:
        # Somebody else asked at the same moment: that one is the answer.
        return busy.get()
    return row


def cancel(*, actor: Actor, row: SiteArchive, at: datetime) -> SiteArchive:
    """Raises Forbidden; Conflict where it had ended a moment before."""
    require_keeper(actor, row.site)
    if not making.end(row, State.CANCELLED, by=actor, at=at):
        raise Conflict("It ended a moment before you cancelled it.")
    return archive(actor, row.key)


def fetched(*, actor: Actor, row: SiteArchive) -> SiteArchive:
    """Raises Forbidden; Refused not_ready, with what became of it."""
    require_keeper(actor, row.site)
    if row.state != State.READY or not row.file.storage.exists(str(row.file.name)):
        raise Refused(
            "not_ready",
            "This archive has no file to fetch: it is "
            f"{'lost from the store' if row.state == State.READY else row.get_state_display()}. "
            "Ask for another on the page of the site's archives.",
        )
    return row


def make_archive(archive: str) -> None:
    """Job. May run twice: what is ready or cancelled is left alone."""
    by = system(timezone.now().date(), via="sweep", at=timezone.now())
    row = making.take_up(SiteArchive, UUID(archive), by)
    if row is None:
        return
    try:
        # Without a name, so that it goes with its process, however that ends.
        with tempfile.TemporaryFile() as made:
            _make(row, made)
    except Stopped:
        return
    except ItmError as refusal:
        making.end(row, State.FAILED, by=by, at=timezone.now(), problem=refusal.sentence)


def _make(row: SiteArchive, made: BinaryIO) -> None:
    now = timezone.now()
    actor = _who(row, now)
    progress = Progress(row)
    progress.begin("rows")
    with ZipSink(made) as sink:
        done = write(sink, Sight(actor, row.site), at=now, progress=progress)
    progress.begin("store")
    with transaction.atomic():
        held = SiteArchive.objects.select_for_update().get(pk=row.pk)
        held.taken_at, held.files, held.rows, held.lacks = now, done.files, done.rows, done.lacks
        held.newest_seal = done.newest[1] if done.newest else ""
        held.save(by=actor, verb="written")
    making.finish(row, made, by=actor, at=timezone.now(), keep=KEPT)


def _who(row: SiteArchive, now: datetime) -> Actor:
    """Who asked, as that person stands today. Raises Forbidden where the right is gone."""
    member = Membership.objects.select_related("user", "organisation").get(pk=row.member_id)
    actor = acting(member, now.date(), via="sweep", at=now)
    if member not in open_memberships(member.user, now.date()):
        raise Refused("gone", f"{member.user} no longer belongs to {member.organisation}.")
    require_keeper(actor, row.site)
    return actor


def archive_given_up(archive: str) -> None:
    """The page stops waiting and says what to do. May run twice."""
    now = timezone.now()
    row = SiteArchive.objects.get(key=archive)
    making.end(row, State.FAILED, by=system(now.date(), via="sweep"), at=now, problem=GAVE_UP)


def let_go(now: datetime) -> None:
    """By the clock: files of archives whose days are over. May run at any time and twice."""
    making.expire(SiteArchive, now, system(now.date(), via="sweep", at=now))


def brought_in(site: Site) -> BroughtIn | None:
    """The archive that the site came from. For code that read the site through its scope."""
    return BroughtIn.objects.filter(site=site).first()
