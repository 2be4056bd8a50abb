"""The weekly mail: on the chosen day, once whatever happens, and stopped with one click."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from urllib.parse import urlsplit

import pytest
from django.core import mail as sent
from django.test import Client
from django.urls import reverse

from itm.core import outbox
from itm.core.errors import NotFound
from itm.core.outbox import Job
from itm.notices import mail, services, stopping
from itm.notices.models import Wish
from itm.notices.seals import lately_sealed, newest_seals
from itm.schedule.services import start_duties
from itm.schedule.sweep import sweep
from tests.deeds import tested
from tests.factories import GrantFactory, InstrumentFactory, OrganisationFactory, actor_of
from tests.itm.trends.kept import kept

MONDAY = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture
def wish(scene, time_machine) -> Wish:
    time_machine.move_to(MONDAY)
    return services.choose(
        actor=scene.owner, weekday=0, lead_days=30, time_zone="Europe/Lisbon", at=MONDAY
    )


def told(now: datetime, time_machine) -> int:
    """The clock asks, the worker works; how many mails left."""
    before = len(sent.outbox)
    time_machine.move_to(now)
    services.promise_summaries(now)
    outbox.drain()
    return len(sent.outbox) - before


def test_the_mail_leaves_once_on_the_chosen_day_and_once_a_week(wish, time_machine):
    at = datetime(2026, 6, 15, 4, 59, tzinfo=UTC)  # 05:59 in Lisbon
    assert told(at, time_machine) == 0
    assert told(at + timedelta(minutes=1), time_machine) == 1
    for hours in (1, 9, 30, 100):
        assert told(at + timedelta(hours=hours), time_machine) == 0
    assert told(at + timedelta(days=7, hours=1), time_machine) == 1


def test_after_weeks_of_being_off_one_mail_is_owed_and_not_five(wish, time_machine):
    assert told(MONDAY, time_machine) == 1
    assert told(MONDAY + timedelta(days=31), time_machine) == 1
    assert told(MONDAY + timedelta(days=31, hours=1), time_machine) == 0


def test_a_choice_made_on_tuesday_owes_nothing_for_the_monday_before(scene, time_machine):
    tuesday = MONDAY + timedelta(days=1)
    services.choose(actor=scene.owner, weekday=0, lead_days=30, time_zone="UTC", at=tuesday)
    assert told(tuesday, time_machine) == 0
    assert told(MONDAY + timedelta(days=7), time_machine) == 1


def test_a_clock_that_asks_ten_times_promises_one_job(wish):
    for _ in range(10):
        services.promise_summaries(MONDAY)
    assert Job.objects.filter(kind="send_summary").count() == 1


def test_a_job_that_runs_again_after_a_restart_sends_nothing_more(wish):
    services.promise_summaries(MONDAY)
    outbox.drain()
    Job.objects.update(done_at=None, lease=None, leased_until=None)  # its end was never written
    outbox.drain()
    services.send_summary(**Job.objects.get().payload)
    assert len(sent.outbox) == 1


class Killed(BaseException):
    """What a kill looks like from inside: nothing after it runs, no handler of faults either."""


@pytest.fixture
def killed(monkeypatch):
    """Try to send while the process is killed, before or after the mail server took the mail."""
    send = mail.send

    def deadly(*, after: bool) -> None:
        def die(*args):
            if after:
                send(*args)
            raise Killed

        with monkeypatch.context() as patch:
            patch.setattr(mail, "send", die)
            with pytest.raises(Killed):
                outbox.drain()

    return deadly


def test_a_mail_lost_with_its_process_is_sent_by_the_next(wish, killed, time_machine):
    services.promise_summaries(MONDAY)
    killed(after=False)
    assert sent.outbox == []
    assert Wish.objects.get().last_for is None
    time_machine.move_to(MONDAY + outbox.LEASE + timedelta(seconds=1))
    outbox.drain()
    assert len(sent.outbox) == 1
    row = Wish.objects.get()
    assert (row.last_for, row.claimed_for, row.tries) == (MONDAY.date(), None, 0)


def test_a_mail_sent_again_has_the_name_of_the_first_and_there_is_no_third(
    wish, killed, time_machine
):
    """RFC 5322 3.6.4: the identifier by which a reader's program knows the copy."""
    services.promise_summaries(MONDAY)
    for times in (1, 2):
        killed(after=True)
        assert len(sent.outbox) == times
        time_machine.move_to(MONDAY + times * (outbox.LEASE + timedelta(seconds=1)))
    outbox.drain()
    first, second = (message.extra_headers["Message-ID"] for message in sent.outbox)
    assert first == second
    assert Job.objects.get().done_at is not None
    assert Wish.objects.get().last_for == MONDAY.date()


def test_a_claim_that_another_holds_makes_the_job_wait(wish, time_machine):
    services.promise_summaries(MONDAY)
    Wish.objects.update(
        claimed_for=MONDAY.date(), claimed_until=MONDAY + timedelta(minutes=1), tries=1
    )
    outbox.drain()
    job = Job.objects.get()
    assert (job.done_at, sent.outbox) == (None, [])
    assert "Another process" in job.error
    time_machine.move_to(MONDAY + timedelta(minutes=2))
    outbox.drain()
    assert len(sent.outbox) == 1


def test_the_claim_outlives_the_mail_server_and_not_the_job(settings):
    """Greeting, EHLO, TLS, EHLO, login, sender, receiver and the text: eight answers."""
    assert timedelta(seconds=8 * settings.EMAIL_TIMEOUT) < services.CLAIM < outbox.LEASE


def test_a_mail_server_that_refuses_is_asked_again(wish, monkeypatch):
    def refuse(*args):
        raise OSError("no mail server")

    with monkeypatch.context() as patch:
        patch.setattr(mail, "send", refuse)
        services.promise_summaries(MONDAY)
        outbox.drain()
    job = Job.objects.get()
    assert "no mail server" in job.error
    row = Wish.objects.get()
    assert (row.last_for, row.claimed_for, row.tries) == (None, None, 0)
    Job.objects.update(not_before=MONDAY)
    outbox.drain()
    assert len(sent.outbox) == 1


def test_the_mail_tells_what_is_wrong_what_is_late_and_what_comes(scene, wish, time_machine):
    start_duties(actor=scene.owner, proportioner=scene.proportioner)  # overdue for years
    kept(scene, {"design": 2.9}, on=date(2026, 5, 1), limits="lean")
    sweep(MONDAY)
    assert told(MONDAY, time_machine) == 1
    [message] = sent.outbox
    assert message.to == [scene.owner.user.email]
    assert message.subject.endswith(": 1 overdue, 0 due, 15 Jun 2026")
    for words in ("Latest result not proven", "(lean, settled)", "Overdue", "days late",
                  scene.site.name, reverse("due"), "Coming within 30 days"):  # fmt: skip
        assert words in message.body
    assert message.body.index("(lean") < message.body.index("days late")


def test_the_newest_seals_leave_with_the_mail_of_who_may_see_them(scene, wish, time_machine):
    """A chain that is rewritten whole no longer ends as the copy in an old mail says."""
    seals = [tested(scene).seal, tested(scene).seal]
    told(MONDAY, time_machine)
    assert f"number {seals[1].number}: {seals[1].digest}" in sent.outbox[0].body
    assert seals[0].digest not in sent.outbox[0].body
    stranger = actor_of(OrganisationFactory(kind="owner"))
    assert lately_sealed(stranger) == set()


def test_whose_time_is_over_is_sent_no_seal_of_who_followed(scene):
    own = tested(scene).seal
    [grant] = scene.site.grants.all()
    grant.ends_on = scene.contractor.today - timedelta(days=1)
    grant.save(by=scene.owner)
    follows = actor_of(OrganisationFactory(kind="contractor"))
    GrantFactory(site=scene.site, organisation=follows.organisation)
    meter = InstrumentFactory(organisation=follows.organisation)
    after = tested(replace(scene, contractor=follows, instrument=meter)).seal
    for reader, newest in ((scene.contractor, own), (follows, after), (scene.owner, after)):
        [one] = newest_seals(reader, {scene.site.pk}).values()
        assert one.digest == newest.digest


def test_the_mail_carries_the_headers_of_one_click(scene, wish, time_machine):
    """RFC 8058 section 3.1: an https or http address in List-Unsubscribe, and the second header
    with exactly this value. Read back by the standard library's parser."""
    told(MONDAY, time_machine)
    read = message_from_bytes(sent.outbox[0].message().as_bytes(), policy=policy.default)
    assert read["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert read["Auto-Submitted"] == "auto-generated"
    [url] = re.findall(r"^<(https?://[^<>\s]+)>$", read["List-Unsubscribe"].strip())
    path = urlsplit(url).path
    browser = Client(enforce_csrf_checks=True)
    assert browser.get(path).status_code == 200
    assert Wish.objects.get().weekday == 0  # looking changes nothing
    answer = browser.post(path, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert "Stopped" in answer.content.decode()
    assert Wish.objects.get().weekday is None
    assert browser.post(path).status_code == 200
    assert told(MONDAY + timedelta(days=7), time_machine) == 0


def test_a_link_that_was_never_sent_stops_nobody(client, scene, wish):
    token = stopping.stop_token(stopping.SUMMARY, services.membership_of(scene.owner))
    for wrong in (token[:-1] + ("A" if token[-1] != "A" else "B"), "x", "a:b:c"):
        assert client.post(reverse("unsubscribe", args=[wrong])).status_code == 404
        with pytest.raises(NotFound):
            stopping.subscriber(wrong)
    assert Wish.objects.get().weekday == 0


def test_who_has_left_gets_no_more_mail(scene, wish, time_machine):
    membership = services.membership_of(scene.owner)
    membership.ended_on = date(2026, 6, 14)
    membership.save(by=scene.owner)
    assert told(MONDAY, time_machine) == 0


def test_the_page_keeps_the_choice_and_refuses_with_sentences(client, scene, sign_in):
    sign_in(client, scene.contractor)
    url = reverse("notices")
    given = {"weekday": "2", "lead_days": "45", "time_zone": "America/Denver"}
    assert "Saved" in client.post(url, given, follow=True).content.decode()
    wish = Wish.objects.get()
    assert (wish.weekday, wish.lead_days, wish.time_zone) == (2, 45, "America/Denver")
    for wrong, said in (
        ({"time_zone": "Mars/Base"}, "There is no time zone “Mars/Base”"),
        ({"lead_days": "0"}, "greater than or equal to 1"),
        ({"weekday": "9"}, "9"),
    ):
        answer = client.post(url, {**given, **wrong})
        assert answer.status_code == 422
        assert said in answer.content.decode()
    assert client.post(url, {**given, "weekday": ""}).status_code == 302
    assert Wish.objects.get().weekday is None
