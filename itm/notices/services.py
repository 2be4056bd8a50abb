"""Who is told what and when: choices, the address of a calendar, and the weekly summary mail.

A summary is promised once for a person and a day, and claimed in the database for some minutes
before it is handed to the mail server. A process that dies in between leaves a claim that lapses,
and the mail is tried once more under the same Message-ID; then never again.
"""

import logging
import secrets
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone

from itm.accounts import proving
from itm.accounts.actor import Actor, acting, open_memberships
from itm.accounts.digests import digest_of
from itm.accounts.models import Membership, User
from itm.accounts.told import tell
from itm.core import outbox
from itm.core.clock import date_at
from itm.core.errors import Conflict, NotFound
from itm.notices import mail
from itm.notices.models import Wish
from itm.notices.stopping import SUMMARY, stop_token

log = logging.getLogger(__name__)

HOUR = 6  # of the morning, on the clock that the person chose; own choice
# Shorter than the lease of a job, so that the job that comes again finds the claim lapsed, and
# longer than the patience with a mail server (EMAIL_TIMEOUT, for each of its few answers).
CLAIM = timedelta(minutes=9)
MOST_TRIES = 2  # that ended without a word: the mail may have left in the first; own choice


def membership_of(actor: Actor) -> Membership:
    """The membership in which the person acts."""
    rows = open_memberships(actor.user, actor.today) if actor.user else []
    found = next((row for row in rows if row.organisation_id == actor.organisation_id), None)
    if found is None:
        raise NotFound("membership", actor.organisation_name)
    return found


def wish_of(actor: Actor) -> Wish:
    """What the person chose, or what holds until then: no mail and no calendar."""
    membership = membership_of(actor)
    found = Wish.objects.filter(membership=membership).first()
    return found or Wish(membership=membership)


def choose(
    *, actor: Actor, weekday: int | None, lead_days: int, time_zone: str, at: datetime
) -> Wish:
    """May run twice. The first mail comes on the next such day, today included."""
    wish = wish_of(actor)
    if weekday is not None and weekday != wish.weekday:
        wish.since = date_at(time_zone, at)
    wish.weekday, wish.lead_days, wish.time_zone = weekday, lead_days, time_zone
    wish.save()
    return wish


def choose_at_once(*, actor: Actor, wanted: bool) -> Wish:
    """Whether systems out of service and orders are mailed at once. May run twice."""
    wish = wish_of(actor)
    wish.at_once = wanted
    wish.save()
    return wish


# The calendar ------------------------------------------------------------------------------------


def new_feed(*, actor: Actor, at: datetime) -> str:
    """A new secret for the address of the calendar; the one before stops working.

    Raises Refused proof_needed.
    """
    proving.require(actor)
    token = secrets.token_urlsafe(32)
    wish = wish_of(actor)
    wish.feed_digest, wish.feed_made_at = digest_of(token), at
    wish.save()
    tell(actor.user, "calendar_made", actor.organisation_name)
    return token


def end_feed(*, actor: Actor) -> None:
    """May run twice."""
    wish = wish_of(actor)
    if wish.feed_digest is not None:
        wish.feed_digest = wish.feed_made_at = None
        wish.save()


def end_feeds(user: User) -> None:
    """The addresses that the person made, for every organisation. May run twice."""
    Wish.objects.filter(membership__user=user).update(feed_digest=None, feed_made_at=None)


def reader_of(token: str, now: datetime) -> Actor:
    """Who reads with this address. Raises NotFound where it was never made, was replaced or ended,
    or where the person no longer acts for the organisation."""
    rows = Wish.objects.select_related("membership__user", "membership__organisation")
    wish = rows.filter(feed_digest=digest_of(token)).first()
    if wish is None:
        raise NotFound("calendar", "")
    return reader(wish.membership, now)


def reader(membership: Membership, now: datetime) -> Actor:
    today = now.date()
    ended = membership.ended_on is not None and membership.ended_on <= today
    if ended or not membership.user.is_active:
        raise NotFound("membership", "")
    return acting(membership, today, via="command", at=now)


# The summary mail --------------------------------------------------------------------------------


def promise_summaries(now: datetime) -> None:
    """Promise what is owed. May run at any time, twice and beside itself.

    Of days that passed while nothing ran only the last is owed: late once is better than never,
    and better than five at once.
    """
    rows = Wish.objects.filter(weekday__isnull=False, membership__user__is_active=True)
    for wish in rows.select_related("membership"):
        day = owed(wish, now)
        if day is not None:
            key = str(wish.membership.key)
            try:
                with transaction.atomic():
                    outbox.add(
                        "send_summary", once=f"summary {key} {day}",
                        membership_key=key, day=day.isoformat(),
                    )  # fmt: skip
            except IntegrityError:
                continue  # another clock was a moment faster


def owed(wish: Wish, now: datetime) -> date | None:
    """The last of the chosen weekdays that began, when its mail was not sent yet."""
    if wish.weekday is None or wish.since is None:
        return None
    today = date_at(wish.time_zone, now - timedelta(hours=HOUR))
    day = today - timedelta(days=(today.weekday() - wish.weekday) % 7)
    if day < wish.since or (wish.last_for is not None and wish.last_for >= day):
        return None
    return day


def send_summary(membership_key: str, day: str) -> None:
    """The promised job. Run twice it sends once; a mail server that refuses is asked again.

    Raises Conflict while another holds the claim: the job waits, since that one may die.
    """
    now, on = timezone.now(), date.fromisoformat(day)
    rows = Wish.objects.filter(membership__key=UUID(membership_key), weekday__isnull=False)
    wish = rows.select_related("membership__user", "membership__organisation").first()
    if wish is None or (wish.last_for is not None and wish.last_for >= on):
        return  # unsubscribed since, or sent
    try:
        actor = reader(wish.membership, now)
    except NotFound:
        return
    mine = claimed(wish, on, now)
    if mine is None:
        return
    try:
        mail.send(actor, now, on, wish.lead_days, stop_token(SUMMARY, wish.membership))
    except Exception:
        mine.update(**UNCLAIMED)  # refused aloud, so nothing left: this counts as no try
        raise
    mine.update(last_for=on, **UNCLAIMED)


UNCLAIMED: dict[str, int | None] = {"claimed_for": None, "claimed_until": None, "tries": 0}


def claimed(wish: Wish, on: date, now: datetime) -> QuerySet[Wish] | None:
    """The row under a claim of one's own, or None where the mail was tried often enough.

    What was read stands in the condition, so of two that come at once one claims. Raises Conflict.
    """
    again = wish.claimed_for == on
    if again and wish.claimed_until is not None and wish.claimed_until > now:
        raise Conflict("Another process is sending this mail.")
    before = Wish.objects.filter(
        pk=wish.pk, last_for=wish.last_for,
        claimed_for=wish.claimed_for, claimed_until=wish.claimed_until,
    )  # fmt: skip
    if again and wish.tries >= MOST_TRIES:
        before.update(last_for=on, **UNCLAIMED)
        log.error("a summary mail was given up", extra={"wish": wish.pk, "day": str(on)})
        return None
    until, tries = now + CLAIM, wish.tries + 1 if again else 1
    if not before.update(claimed_for=on, claimed_until=until, tries=tries):
        raise Conflict("Another process is sending this mail.")
    return Wish.objects.filter(pk=wish.pk, claimed_for=on, claimed_until=until)
