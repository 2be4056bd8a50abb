"""A mail server that is away for a night loses nothing, and what is given up is told. How long to
wait is a choice of our own; that a reply of 500 or more is for good is RFC 5321, 4.2.1."""

from datetime import UTC, datetime, timedelta
from smtplib import SMTPRecipientsRefused, SMTPServerDisconnected

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.utils import timezone

from itm.core import outbox
from itm.core.outbox import MAIL_TRIES, MOST_TRIES, Job
from itm.findings import impairing
from itm.notices import gathering, lost, news
from itm.notices.models import News
from itm.notices.services import membership_of
from tests.factories import MembershipFactory, OrganisationFactory, actor_of
from tests.itm.notices.test_at_once import addresses, now, out

__all__ = ["now"]
NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
raised: list[Exception] = []


class Away(EmailBackend):
    """A mail server that fails as the test says, until it is back."""

    def send_messages(self, messages):
        if raised:
            raise raised[0]
        return super().send_messages(messages)


@pytest.fixture(autouse=True)
def server(settings):
    settings.EMAIL_BACKEND = f"{__name__}.Away"
    raised[:] = [SMTPServerDisconnected("away")]
    yield
    raised.clear()


def wait_for(tries: int) -> float:
    """Run what waits so often; hours that the waits between took, as the jobs ask for them."""
    hours = 0.0
    for _ in range(tries):
        outbox.drain()
        waits = [job.not_before - timezone.now() for job in outbox.waiting()]
        hours += max(waits, default=timedelta()).total_seconds() / 3600
        Job.objects.update(not_before=timezone.now())
    return hours


def promised(scene, now) -> None:
    out(scene)
    gathering.gather(now + timedelta(minutes=1))
    outbox.drain()


def test_a_mail_server_that_was_away_for_two_days_gets_what_was_promised(scene, now):
    promised(scene, now)
    assert wait_for(MAIL_TRIES - 2) > 46
    assert outbox.waiting().exists()
    assert not mail.outbox
    raised.clear()
    outbox.drain()
    assert {to for one in mail.outbox for to in one.to} == addresses(
        scene.authority, scene.contractor
    )


def test_what_is_over_by_then_is_not_sent(scene, now):
    row = out(scene)
    gathering.gather(now + timedelta(minutes=1))
    outbox.drain()
    wait_for(MOST_TRIES + 2)
    impairing.end_by_hand(
        actor=scene.owner, impairment=row, words="new gasket", ended_at=NOON, at=NOON
    )
    raised.clear()
    outbox.drain()
    assert (mail.outbox, outbox.waiting().exists()) == ([], False)


def test_what_is_given_up_is_told_to_the_organisation_and_counted(scene, now, client):
    promised(scene, now)
    wait_for(MAIL_TRIES)
    assert client.get("/readyz").json()["jobs_given_up_in_a_week"] == 2
    colleague = actor_of(scene.authority.organisation, role="manager")
    for reader in (scene.authority, colleague):
        [line] = [one for one in news.lines(reader).object_list if one.news.kind == "mail_lost"]
        assert line.told.what == "A mail could not be sent"
        assert line.told.detail == (
            f"{scene.authority.user} never got a mail about an impairment or an order: see what "
            "it says in the product"
        )
    stranger = actor_of(OrganisationFactory(kind="authority"))
    assert not News.objects.visible_to(stranger).exists()
    Job.objects.update(gave_up_at=timezone.now() - timedelta(days=8))
    assert client.get("/readyz").json()["jobs_given_up_in_a_week"] == 0


def test_a_mailbox_that_is_refused_for_good_is_not_asked_for_two_days(scene, now):
    raised[:] = [SMTPRecipientsRefused({"x@people.example": (550, b"no such mailbox")})]
    promised(scene, now)
    wait_for(MOST_TRIES)
    assert set(Job.objects.exclude(gave_up_at=None).values_list("tries", flat=True)) == {MOST_TRIES}
    assert News.objects.filter(kind="mail_lost").count() == 2


def test_a_mailbox_that_is_refused_for_now_is_asked_on(scene, now):
    raised[:] = [SMTPRecipientsRefused({"x@people.example": (450, b"busy")})]
    promised(scene, now)
    wait_for(MOST_TRIES + 5)
    assert not Job.objects.exclude(gave_up_at=None).exists()


def test_each_sort_of_mail_says_what_it_was_and_twice_is_as_once(scene):
    row = membership_of(scene.owner)
    again = MembershipFactory(user=scene.owner.user)
    for _ in range(2):
        lost.summary_lost(str(row.key), "2026-06-15")
        lost.alarm_lost(str(row.key), str(row.key))
        lost.reset_lost(str(scene.owner.user.key), "17")
        lost.reset_lost("", "18")
    said = sorted(
        News.objects.visible_to(scene.owner).values_list("note", flat=True)
    )  # fmt: skip
    assert said == sorted([lost.SUMMARY, lost.ALARM, lost.ACCOUNT])
    assert News.objects.filter(to=again.organisation, note=lost.ACCOUNT).count() == 1
