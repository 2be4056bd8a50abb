"""A mail at once of what cannot wait for the weekly one: systems out of service or left so, what is
found in the class of an impairment or comes into it, and orders.

Whoever sees the site is mailed unless the person has said no. That is the default because an
impairment that is learnt of late is what this product must never let happen, and because nobody who
has not looked at the page of choices can have chosen; it is our own choice.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from itm.accounts.actor import acting
from itm.accounts.models import Membership
from itm.core import folding, letters, outbox
from itm.core.clock import date_at
from itm.core.letters import address
from itm.notices import stopping
from itm.notices.at_once_words import still_so, words
from itm.notices.models import News
from itm.registry.models import Grant, Site, SiteAuthority


def promise(rows: Sequence[News]) -> None:
    """A job for each line of these kinds that is still so, in the transaction that writes it."""
    names = still_so(rows)
    for row in rows:
        if row.key in names:
            outbox.add("mail_at_once", once=f"at once {names[row.key]}", news_key=str(row.key))


def mail_at_once(news_key: str) -> None:
    """The promised job: promises one for each reader, since a mailbox that is refused would keep
    all behind it from theirs. Run twice it promises nothing new."""
    row = _told(news_key)
    if row is None or row.site is None:
        return
    with transaction.atomic():
        for membership in readers(row.site, timezone.now()):
            if membership.user.key != row.person_key:
                outbox.add(
                    "mail_one_at_once", once=f"at once {row.key} {membership.key}",
                    news_key=news_key, membership_key=str(membership.key),
                )  # fmt: skip


def mail_one_at_once(news_key: str, membership_key: str) -> None:
    """The promised job of one reader. Run twice it sends the same Message-ID twice, which many
    programs drop. Raises what the mail server raises.

    Who reads is asked for again, as the page would ask. Nothing is sent of what is over.
    """
    row, now = _told(news_key), timezone.now()
    if row is None or row.site is None:
        return
    membership = readers(row.site, now).filter(key=UUID(membership_key)).first()
    if membership is None:
        return
    today = date_at(row.site.time_zone, now)
    told = words(acting(membership, today, via="command", at=now), row)
    if told is None:
        return
    subject, body = told
    stop = stopping.stop_link(stopping.AT_ONCE, membership)
    letters.send(
        to=membership.user.email, subject=subject, body=body + _end(stop),
        name=f"at-once.{row.key}.{membership.key}", headers=stopping.headers(stop),
    )  # fmt: skip


def _told(news_key: str) -> News | None:
    return News.objects.select_related("site__owner").filter(key=UUID(news_key)).first()


def readers(site: Site, now: datetime) -> QuerySet[Membership]:
    """Everybody of the owner, of its authorities and of whoever is engaged there, who has not said
    no."""
    today = date_at(site.time_zone, now)
    engaged = Grant.objects.covering(today).filter(site=site).values("organisation")
    watching = SiteAuthority.objects.covering(today).filter(site=site).values("organisation")
    rows = Membership.objects.filter(
        Q(organisation=site.owner_id) | Q(organisation__in=engaged) | Q(organisation__in=watching),
        Q(ended_on=None) | Q(ended_on__gt=today),
        user__is_active=True,
    ).exclude(wish__at_once=False)
    return rows.select_related("user", "organisation").order_by("pk")


def _end(link: str) -> str:
    fold = folding.words()
    return (
        f"\nTo get no such mails: {link}\nWhatever else you are told of: {address('notices')}\n"
        + (f"\n{fold}\n" if fold else "")
    )
