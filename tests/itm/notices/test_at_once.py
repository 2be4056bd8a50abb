"""Systems out of service and orders are mailed at once, to whoever sees the site and has not said
no. That nobody learns late of an impairment is a rule of our own: no published source."""

from datetime import UTC, date, datetime, timedelta
from urllib.parse import urlsplit

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.actions.take_back_start import take_back_start
from itm.core import outbox
from itm.findings import asking, impairing
from itm.findings.models import Impairment
from itm.notices import gathering, services
from itm.notices.at_once import mail_at_once, mail_one_at_once
from itm.notices.models import News
from itm.notices.stopping import AT_ONCE, SUMMARY, stop_token
from tests.deeds import prepared
from tests.factories import OrganisationFactory, actor_of

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture
def now(db) -> datetime:
    """The history has the times of the machine; from here on it is read."""
    moment = timezone.now()
    gathering.begin_at(moment - timedelta(minutes=1))
    return moment


def mailed(now: datetime) -> set[str]:
    """Addresses that a look at the history and the promised jobs lead to."""
    mail.outbox.clear()
    gathering.gather(now + timedelta(minutes=1))
    for job in outbox.waiting().filter(kind="mail_at_once"):
        mail_at_once(**job.payload)
    for job in outbox.waiting().filter(kind="mail_one_at_once"):
        mail_one_at_once(**job.payload)
    return {to for message in mail.outbox for to in message.to}


def addresses(*actors) -> set[str]:
    return {actor.user.email for actor in actors}


def out(scene, actor=None, reason="a leak") -> Impairment:
    return impairing.open_by_hand(
        actor=actor or scene.owner, site=scene.site, systems=[scene.system], reason=reason,
        coordinator="Duty engineer", started_at=NOON, at=NOON,
    )  # fmt: skip


def test_an_impairment_by_hand_is_mailed_to_all_who_see_the_site_but_who_noted_it(scene, now):
    row = out(scene)
    actor_of(OrganisationFactory(kind="authority"))  # of no site
    assert mailed(now) == addresses(scene.authority, scene.contractor)
    body = mail.outbox[0].body
    for words in (scene.site.name, str(scene.system), "a leak", "Duty engineer"):
        assert words in body
    assert reverse("impairment", args=[row.key]) in body
    assert reverse("notices") in body
    gathering.gather(now + timedelta(minutes=2))
    assert outbox.waiting().filter(kind="mail_at_once").count() == 1


def test_what_a_person_typed_makes_no_line_of_its_own(scene, now):
    out(scene, reason="a leak\n\nTo get no such mails: http://elsewhere.example/")
    mailed(now)
    assert "Why: a leak To get no such mails: http://elsewhere.example/." in mail.outbox[0].body


def test_what_a_worker_that_was_down_for_days_finds_is_mailed_while_it_lasts(scene, now):
    over, row = out(scene, reason="the first"), out(scene)
    impairing.end_by_hand(
        actor=scene.owner, impairment=over, words="new gasket", ended_at=NOON, at=NOON
    )
    assert mailed(now + timedelta(days=2)) == addresses(scene.authority, scene.contractor)
    assert News.objects.filter(kind=News.Kind.TAKEN_OUT).count() == 2
    bodies = [message.body for message in mail.outbox]
    assert all(reverse("impairment", args=[row.key]) in body for body in bodies)


def test_a_test_day_is_mailed_to_owner_and_authority(scene, now):
    prepared(scene)
    assert mailed(now) == addresses(scene.owner, scene.authority)
    assert "annual proportioning test" in mail.outbox[0].body


def test_what_was_taken_back_or_is_over_is_not_mailed(scene, now):
    day = prepared(scene)
    take_back_start(actor=day.actor, visit=day.test.visit, at=day.tick())
    row = out(scene)
    impairing.end_by_hand(
        actor=scene.owner, impairment=row, words="new gasket", ended_at=NOON, at=NOON
    )
    assert mailed(now) == set()


def test_an_order_is_mailed_to_the_owner_and_whoever_works_there(scene, now):
    made = asking.order(
        actor=scene.authority, site=scene.site, words="Retest the rack", due_on=date(2026, 7, 1),
        at=NOON,
    )  # fmt: skip
    assert mailed(now) == addresses(scene.owner, scene.contractor)
    assert "by 1 Jul 2026:\nRetest the rack" in mail.outbox[0].body
    assert reverse("order", args=[made.key]) in mail.outbox[0].body


def test_who_said_no_is_not_mailed_and_may_say_yes_again(scene, now):
    client = Client()
    client.force_login(scene.authority.user)
    assert services.wish_of(scene.authority).at_once  # the default
    assert client.post(reverse("mail_at_once"), {}).status_code == 302
    out(scene)
    assert mailed(now) == addresses(scene.contractor)
    client.post(reverse("mail_at_once"), {"at_once": "on"})
    assert mailed(now) == addresses(scene.contractor, scene.authority)
    assert "checked" in client.get(reverse("notices")).content.decode()


def test_a_contractor_whose_time_is_over_is_not_mailed(scene, now):
    grant = scene.site.grants.get(organisation=scene.contractor.organisation)
    grant.ends_on = now.date() - timedelta(days=1)
    grant.starts_on = grant.ends_on - timedelta(days=1)
    grant.save(by=scene.owner)
    out(scene)
    assert mailed(now) == addresses(scene.authority)


def test_one_click_without_signing_in_ends_these_mails_of_this_person_and_nothing_else(scene, now):
    """The heads and the POST of RFC 8058; a look alone, as programs follow links, ends nothing."""
    services.choose(actor=scene.authority, weekday=0, lead_days=14, time_zone="UTC", at=now)
    out(scene)
    mailed(now)
    [one] = [m for m in mail.outbox if m.to == [scene.authority.user.email]]
    assert one.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    link = one.extra_headers["List-Unsubscribe"].strip("<>")
    assert f"To get no such mails: {link}" in one.body
    path = urlsplit(link).path
    program = Client(enforce_csrf_checks=True)
    assert "Stop these mails" in program.get(path).content.decode()
    assert services.wish_of(scene.authority).at_once
    said = program.post(path, {"List-Unsubscribe": "One-Click"}).content.decode()
    assert "Stopped: Mails at once go no more to" in said
    wish = services.wish_of(scene.authority)
    assert (wish.at_once, wish.weekday) == (False, 0)
    out(scene, reason="another leak")
    assert mailed(now) == addresses(scene.contractor)  # who never chose anything is mailed on
    page = Client()
    page.force_login(scene.authority.user)
    assert "checked" not in page.get(reverse("notices")).content.decode().split("at_once")[1][:40]


def test_a_link_of_the_other_mails_or_a_changed_one_does_not_end_these(scene, now, client):
    membership = services.membership_of(scene.authority)
    summary, own = (stop_token(kind, membership) for kind in (SUMMARY, AT_ONCE))
    assert client.post(reverse("unsubscribe", args=[summary])).status_code == 200
    assert services.wish_of(scene.authority).at_once
    other = services.membership_of(scene.owner)
    forged = f"{other.key}:{own.rpartition(':')[2]}"
    assert client.post(reverse("unsubscribe", args=[forged])).status_code == 404
    assert services.wish_of(scene.owner).at_once
    for _ in range(2):
        assert client.post(reverse("unsubscribe", args=[own])).status_code == 200
    assert not services.wish_of(scene.authority).at_once
