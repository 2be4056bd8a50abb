"""A mail at once of what cannot wait for the weekly one: systems out of service, and orders.

Whoever sees the site is mailed unless the person has said no. That is the default because an
impairment that is learnt of late is what this product must never let happen, and because nobody who
has not looked at the page of choices can have chosen; it is our own choice.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from itm.accounts.actor import Actor, acting
from itm.accounts.models import Membership
from itm.core import folding, letters, outbox
from itm.core.figures import day, instant
from itm.core.letters import address
from itm.findings.models import Impairment, Order
from itm.notices import stopping
from itm.notices.models import News
from itm.registry.models import Grant, Site, SiteAuthority

K = News.Kind
OUT = (K.OUT, K.TAKEN_OUT)
KINDS = (*OUT, K.ORDERED)
LATE = timedelta(days=1)  # own choice: longer than any clock of ours rests


def promise(rows: Iterable[News], now: datetime) -> None:
    """A job for each line of these kinds, in the transaction that writes the line. What was noted
    days ago and is told only now, as a first look does, waits for the weekly mail."""
    for row in rows:
        if row.kind in KINDS and row.at > now - LATE:
            outbox.add("mail_at_once", once=f"at once {row.key}", news_key=str(row.key))


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
    told = words(acting(membership, now.date(), via="command", at=now), row)
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
    today = now.date()
    engaged = Grant.objects.covering(today).filter(site=site).values("organisation")
    watching = SiteAuthority.objects.covering(today).filter(site=site).values("organisation")
    rows = Membership.objects.filter(
        Q(organisation=site.owner_id) | Q(organisation__in=engaged) | Q(organisation__in=watching),
        Q(ended_on=None) | Q(ended_on__gt=today),
        user__is_active=True,
    ).exclude(wish__at_once=False)
    return rows.select_related("user", "organisation").order_by("pk")


def words(actor: Actor, row: News) -> tuple[str, str] | None:
    """Subject and body as this reader may see it; None where it is not the reader's, or over."""
    if not News.objects.visible_to(actor).filter(pk=row.pk).exists():
        return None
    if row.kind == K.ORDERED:
        return _of_order(actor, row)
    return _of_impairment(actor, row)


def _of_impairment(actor: Actor, row: News) -> tuple[str, str] | None:
    by = {"key": row.thing} if row.kind == K.TAKEN_OUT else {"visit__key": row.thing}
    rows = Impairment.objects.visible_to(actor).select_related("site", "visit", "organisation")
    found = rows.filter(**by).first()
    if found is None or not found.is_open:
        return None
    systems = ", ".join(str(one.system) for one in found.systems.select_related("system"))
    body = (
        f"{found.site.name}: {systems or 'systems that are not named'} out of service since "
        f"{instant(found.started_at, found.site.time_zone)}.\n"
        f"Why: {_line(found.why)}.\n"
        f"Taken out by {found.started_by}, {found.organisation.name}. Coordinator: "
        f"{_line(found.coordinated_by)}.\n\n"
        "The hazard is not protected as designed. Local codes come first.\n\n"
        f"How it stands: {address('impairment', found.key)}\n"
    )
    return f"Out of service: {found.site.name}", body


def _of_order(actor: Actor, row: News) -> tuple[str, str] | None:
    rows = Order.objects.visible_to(actor).select_related("site", "organisation")
    found = rows.filter(key=row.thing, met_at=None).first()
    if found is None:
        return None
    body = (
        f"{found.organisation.name} orders at {found.site.name}, by {day(found.due_on)}:\n"
        f"{_line(found.words)}\n\nThe order: {address('order', found.key)}\n"
    )
    return f"Order of an authority: {found.site.name}", body


def _line(said: str) -> str:
    """What a person typed makes no line of its own, which could speak for this program."""
    return " ".join(said.split()) or "not noted"


def _end(link: str) -> str:
    fold = folding.words()
    return (
        f"\nTo get no such mails: {link}\nWhatever else you are told of: {address('notices')}\n"
        + (f"\n{fold}\n" if fold else "")
    )
