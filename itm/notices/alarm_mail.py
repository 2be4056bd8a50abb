"""A mail about a notice clock that ran out, to whoever has to see to it."""

from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from itm.accounts.models import Membership
from itm.core import letters, outbox
from itm.core.letters import address
from itm.findings import clocks
from itm.findings.models import Impairment, Step
from itm.findings.wording import unanswered

ROLES = ("supervisor", "manager")


def send_alarm(step_key: str) -> None:
    """The promised job: promises one for each reader, since a mailbox that is refused would keep
    all behind it from theirs. Run twice it promises nothing new."""
    row, step = _sounding(step_key)
    if row is None:
        return
    with transaction.atomic():
        for membership in _readers(row):
            outbox.add(
                "send_one_alarm", once=f"alarm {step.key} {membership.key}",
                step_key=step_key, membership_key=str(membership.key),
            )  # fmt: skip


def send_one_alarm(step_key: str, membership_key: str) -> None:
    """The promised job of one reader. Run twice it sends the same Message-ID twice, which many
    programs drop. Raises what the mail server raises."""
    row, step = _sounding(step_key)
    if row is None:
        return
    membership = _readers(row).filter(key=UUID(membership_key)).first()
    if membership is not None:
        _tell(membership, row, step)


def _sounding(step_key: str) -> tuple[Impairment | None, Step]:
    """The alarm with its impairment; none of it once the clock is answered, or the systems are
    back."""
    step = Step.objects.select_related("impairment__site__owner", "impairment__visit", "clock").get(
        key=UUID(step_key)
    )
    row = step.impairment
    if row is None or step.clock is None or not row.is_open or _answered(row, step):
        return None, step
    return row, step


def _answered(row: Impairment, step: Step) -> bool:
    running = clocks.running([row], timezone.now()).get(row.pk, [])
    return any(one.clock == step.clock and one.told is not None for one in running)


def _readers(row: Impairment) -> QuerySet[Membership]:
    """Supervisors and managers of the owner and of whoever took the systems out."""
    today = timezone.now().date()
    rows = Membership.objects.filter(
        Q(ended_on=None) | Q(ended_on__gt=today),
        organisation__in=[row.site.owner_id, row.organisation_id],
        role__in=ROLES,
        user__is_active=True,
    )
    return rows.select_related("user", "organisation").order_by("pk")


def _tell(membership: Membership, row: Impairment, step: Step) -> None:
    clock = step.clock
    if clock is None:
        raise LookupError("An alarm is of a clock.")
    names = ", ".join(str(one.system) for one in row.systems.select_related("system"))
    body = (
        f"{row.site.name}: {names} out of service: {row.why}.\n\n"
        f"A notice clock ran out and {unanswered(clock)}: {clock.tell}, {clock.when}.\n"
        f"{clock.words}\nSource: {clock.source}; {clock.confidence}. Local codes come first.\n\n"
        f"Note it here: {address('impairment', row.key)}\n"
    )
    letters.send(
        to=membership.user.email,
        subject=f"Notice clock ran out: {row.site.name}",
        body=body,
        name=f"alarm.{step.key}.{membership.user.key}",
    )
