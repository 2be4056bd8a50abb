"""A mailbox that the server refuses (reply 550, RFC 5321 4.2.3) keeps nobody else from a mail that
cannot wait, and is tried again and given up alone."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from smtplib import SMTPRecipientsRefused

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.utils import timezone

from itm.core import outbox
from itm.core.outbox import MOST_TRIES, Job
from itm.findings import alarms, clocks, impairing
from itm.findings.models import NoticeClock
from itm.notices import gathering
from tests.factories import MembershipFactory

AT = datetime(2026, 6, 15, 12, tzinfo=UTC)
REFUSED = "gone@people.example"
tries: Counter[str] = Counter()


class Refusing(EmailBackend):
    """A mail server that does not know one of its mailboxes."""

    def send_messages(self, messages):
        for message in messages:
            tries.update(message.to)
            if REFUSED in message.to:
                raise SMTPRecipientsRefused({REFUSED: (550, b"no such mailbox")})
        return super().send_messages(messages)


@pytest.fixture
def server(settings):
    settings.EMAIL_BACKEND = f"{__name__}.Refusing"
    tries.clear()


@pytest.fixture
def people(scene, server) -> list[str]:
    """Three of the owner, of whom the server refuses the second; as the jobs find them."""
    made = [
        MembershipFactory(
            organisation=scene.owner.organisation, role="manager", user__email=address
        )
        for address in ("first@people.example", REFUSED, "last@people.example")
    ]
    return [one.user.email for one in made]


def try_everything() -> int:
    """As often as an hour of waiting each time would; how many tries it took."""
    turns = 0
    while outbox.waiting().exists():
        assert turns <= MOST_TRIES
        outbox.drain()
        Job.objects.update(not_before=timezone.now())
        turns += 1
    return turns


def assert_given_up_alone(kind: str, people: list[str]) -> None:
    first, refused, last = people
    assert try_everything() == MOST_TRIES
    assert (tries[first], tries[refused], tries[last]) == (1, MOST_TRIES, 1)
    sent = Counter(to for message in mail.outbox for to in message.to)
    assert (sent[first], sent[refused], sent[last]) == (1, 0, 1)
    [lost] = Job.objects.exclude(gave_up_at=None)
    assert (lost.kind, lost.tries) == (kind, MOST_TRIES)
    assert "no such mailbox" in lost.error


def out(scene):
    return impairing.open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=AT, at=AT,
    )  # fmt: skip


def test_an_impairment_reaches_all_but_the_mailbox_that_is_refused(scene, people):
    now = timezone.now()
    gathering.begin_at(now - timedelta(minutes=1))
    out(scene)
    gathering.gather(now + timedelta(minutes=1))
    assert_given_up_alone("mail_one_at_once", people)


def test_the_alarm_of_a_clock_reaches_all_but_the_mailbox_that_is_refused(scene, people):
    out(scene)
    clock = NoticeClock.objects.get(code="commanders-at-72-hours")
    clocks.adopt_clock(
        actor=scene.owner, clock=clock, sites=[scene.site], checked_against="", at=AT
    )
    alarms.sound(AT + timedelta(hours=73))
    assert_given_up_alone("send_one_alarm", people)
