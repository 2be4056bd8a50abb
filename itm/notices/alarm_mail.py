"""A mail about a notice clock that ran out, to whoever has to see to it."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from itm.accounts.models import Membership
from itm.core import folding, letters, outbox
from itm.core.clock import date_at
from itm.core.letters import address
from itm.findings import clocks
from itm.findings.models import Impairment, NoticeClock, Step
from itm.findings.wording import unanswered
from itm.registry.models import SiteAuthority

ROLES = ("supervisor", "manager")
Sounding = tuple[Step, Impairment, NoticeClock]


def send_alarm(step_key: str) -> None:
    """The promised job: promises one for each reader, since a mailbox that is refused would keep
    all behind it from theirs. Run twice it promises nothing new."""
    now = timezone.now()
    sounding = _sounding(step_key, now)
    if sounding is None:
        return
    step, row, clock = sounding
    with transaction.atomic():
        for membership in _readers(row, clock, now):
            outbox.add(
                "send_one_alarm", once=f"alarm {step.key} {membership.key}",
                step_key=step_key, membership_key=str(membership.key),
            )  # fmt: skip


def send_one_alarm(step_key: str, membership_key: str) -> None:
    """The promised job of one reader. Run twice it sends the same Message-ID twice, which many
    programs drop. Raises what the mail server raises."""
    now = timezone.now()
    sounding = _sounding(step_key, now)
    if sounding is None:
        return
    _, row, clock = sounding
    membership = _readers(row, clock, now).filter(key=UUID(membership_key)).first()
    if membership is not None:
        _tell(membership, sounding)


def _sounding(step_key: str, now: datetime) -> Sounding | None:
    """None once the clock is answered, or the systems are back."""
    step = Step.objects.select_related("impairment__site__owner", "impairment__visit", "clock").get(
        key=UUID(step_key)
    )
    row, clock = step.impairment, step.clock
    if row is None or clock is None or not row.is_open or _answered(row, clock, now):
        return None
    return step, row, clock


def _answered(row: Impairment, clock: NoticeClock, now: datetime) -> bool:
    running = clocks.running([row], now).get(row.pk, [])
    return any(one.clock == clock and one.told is not None for one in running)


def _readers(row: Impairment, clock: NoticeClock, now: datetime) -> QuerySet[Membership]:
    """Supervisors and managers of the owner, of whoever took the systems out, and of an authority
    that adopted this clock itself and looks after the site. To end the clock ends its mails."""
    adopters = [one.adopter_id for one in clocks.in_force([row.site_id], now) if one.clock == clock]
    watching = SiteAuthority.objects.covering(date_at(row.site.time_zone, now)).filter(
        site=row.site_id, organisation__in=adopters
    )
    rows = Membership.objects.filter(
        Q(organisation__in=[row.site.owner_id, row.organisation_id])
        | Q(organisation__in=watching.values("organisation")),
        Q(ended_on=None) | Q(ended_on__gt=now.date()),
        role__in=ROLES,
        user__is_active=True,
    )
    return rows.select_related("user", "organisation").order_by("pk")


def _tell(membership: Membership, sounding: Sounding) -> None:
    step, row, clock = sounding
    names = ", ".join(str(one.system) for one in row.systems.select_related("system"))
    notes = membership.organisation_id in (row.site.owner_id, row.organisation_id)
    fold = folding.words()
    body = (
        f"{row.site.name}: {names} out of service: {row.why}.\n\n"
        f"A notice clock ran out and {unanswered(clock)}: {clock.tell}, {clock.when}.\n"
        f"{clock.words}\nSource: {clock.source}; {clock.confidence}. Local codes come first.\n\n"
        f"{'Note it here' if notes else 'How it stands'}: {address('impairment', row.key)}\n"
        + (f"\n{fold}\n" if fold else "")
    )
    letters.send(
        to=membership.user.email,
        subject=f"Notice clock ran out: {row.site.name}",
        body=body,
        name=f"alarm.{step.key}.{membership.user.key}",
    )
