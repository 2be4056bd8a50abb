"""Invitations: promised as mails, taken up once, by whoever holds the newest link."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.core import mail
from django.utils import timezone

from itm.accounts import inviting, people
from itm.accounts.digests import digest_of
from itm.accounts.models import Invitation, Membership, User
from itm.core import outbox
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from itm.core.outbox import Job
from tests.factories import MembershipFactory, OrganisationFactory, actor_of
from tests.letters import last_link

pytestmark = pytest.mark.django_db

WORDS = "three parts in a hundred"


@pytest.fixture
def manager():
    return actor_of(OrganisationFactory(), today=timezone.now().date())


def invited(manager, **values):
    given = {"email": "new@example.org", "role": "member"} | values
    return inviting.invite(actor=manager, at=timezone.now(), **given)


def accept(token, **values):
    given = {"name": "Ann Example", "password": WORDS} | values
    return inviting.accept(token=token, at=timezone.now(), **given)


def code_of(deed, *args, **values):
    with pytest.raises(Refused) as refusal:
        deed(*args, **values)
    return refusal.value.code


def test_new_person_joins_by_the_link_of_the_mail(manager):
    row = invited(manager, role="supervisor")
    token = last_link("join")
    actor, _ = accept(token)
    assert (actor.organisation, actor.role) == (manager.organisation, "supervisor")
    assert actor.user.email == "new@example.org"
    assert actor.user.check_password(WORDS)
    row.refresh_from_db()
    assert row.stands(timezone.now()) == "accepted"
    assert [(line.verb, line.person) for line in inviting.changes(row)] == [
        ("invited", manager.person), ("accepted", "Ann Example")
    ]  # fmt: skip


def test_mail_says_who_asks_to_what_and_until_when(manager):
    row = invited(manager)
    last_link("join")
    [letter] = mail.outbox
    assert letter.to == ["new@example.org"]
    assert letter.subject == f"{manager.organisation} invites you to Foam ITM"
    for words in (manager.person, "as member", f"{row.expires_at:%H:%M} UTC", "works once"):
        assert words in letter.body
    assert letter.extra_headers["Message-ID"].startswith(f"<invitation.{row.key}.1@")
    assert letter.extra_headers["Auto-Submitted"] == "auto-generated"


def test_secret_is_kept_nowhere(manager):
    row = invited(manager)
    token = last_link("join")
    row.refresh_from_db()
    assert row.digest == digest_of(token)
    kept = [str(vars(one)) for model in (Invitation, Change, Job) for one in model.objects.all()]
    assert len(kept) > 2
    assert [one for one in kept if token in one] == []
    assert not any(row.digest in str(line.after) for line in Change.objects.all())


def test_link_works_once(manager):
    invited(manager)
    token = last_link("join")
    accept(token)
    assert code_of(accept, token, name="Eve Example") == "invitation_accepted"
    assert User.objects.filter(email="new@example.org").count() == 1


def test_link_lapses(manager):
    row = invited(manager)
    token = last_link("join")
    late = row.expires_at + timedelta(seconds=1)
    assert code_of(inviting.joining, token, late) == "invitation_lapsed"
    assert inviting.joining(token, row.expires_at - timedelta(seconds=1)).known is None
    assert row.stands(late) == "lapsed"


def test_mail_sent_again_ends_the_link_before(manager):
    row = invited(manager)
    first = last_link("join")
    inviting.send_again(actor=manager, row=row, at=timezone.now())
    with pytest.raises(NotFound):  # at once, before the second mail has left
        accept(first)
    second = last_link("join")
    assert second != first
    accept(second)


def test_lapsed_invitation_lives_again_when_sent_again(manager):
    row = invited(manager)
    later = row.expires_at + timedelta(days=1)
    again = inviting.send_again(actor=manager, row=row, at=later)
    assert again.stands(later) == "open"


def test_withdrawn_invitation_opens_nothing_and_sends_nothing(manager):
    row = invited(manager)
    token = last_link("join")
    for _ in range(2):  # may run twice
        inviting.withdraw(actor=manager, row=row, at=timezone.now())
    assert code_of(accept, token) == "invitation_withdrawn"
    assert code_of(inviting.send_again, actor=manager, row=row, at=timezone.now()) == (
        "invitation_withdrawn"
    )
    mail.outbox.clear()
    inviting.send_invitation(str(row.key), 1)
    assert mail.outbox == []


def test_job_of_an_earlier_mail_sends_nothing(manager):
    row = invited(manager)
    inviting.send_again(actor=manager, row=row, at=timezone.now())
    outbox.drain()
    assert len([one for one in mail.outbox if one.to == [row.email]]) == 1
    assert not Job.objects.filter(done_at=None).exists()


def test_job_that_runs_twice_leaves_the_link_of_its_last_mail(manager):
    row = invited(manager)
    first = last_link("join")
    inviting.send_invitation(str(row.key), 1)
    second = last_link("join")
    with pytest.raises(NotFound):
        inviting.joining(first, timezone.now())
    assert inviting.joining(second, timezone.now()).invitation == row


def test_known_address_joins_with_its_account(manager):
    elsewhere = MembershipFactory(user__email="Known@example.org")
    invited(manager, email="known@example.org")
    token = last_link("join")
    assert inviting.joining(token, timezone.now()).known == elsewhere.user
    actor, _ = accept(token, name="Somebody Else", password="another long word")
    actor.user.refresh_from_db()
    assert actor.user == elsewhere.user
    assert actor.user.name == elsewhere.user.name  # the link changes nothing of the account
    assert not actor.user.check_password("another long word")
    assert {row.organisation for row in actor.user.memberships.all()} == {
        manager.organisation, elsewhere.organisation
    }  # fmt: skip


def test_who_left_joins_again_by_a_second_membership(manager):
    leaver = MembershipFactory(organisation=manager.organisation, role="member")
    people.remove(actor=manager, row=leaver, reason="a year abroad")
    invited(manager, email=leaver.user.email)
    accept(last_link("join"))
    rows = leaver.user.memberships.order_by("pk")
    assert [row.ended_on for row in rows] == [manager.today, None]


def test_closed_account_joins_nothing(manager):
    known = MembershipFactory(user__email="known@example.org", user__is_active=False)
    invited(manager, email="known@example.org")
    assert code_of(accept, last_link("join")) == "account_closed"
    assert known.user.memberships.count() == 1


@pytest.mark.parametrize("password", ["short", "password1234", "new@example.org"])
def test_password_is_judged_as_everywhere(manager, password):
    invited(manager)
    token = last_link("join")
    with pytest.raises(Refused) as refusal:
        accept(token, password=password)
    assert refusal.value.place == "password"
    assert not Membership.objects.exclude(pk=manager.user.memberships.get().pk).exists()
    accept(token)  # a slip costs nothing


def test_member_is_not_invited_and_nobody_is_twice(manager):
    member = MembershipFactory(organisation=manager.organisation)
    assert code_of(invited, manager, email=member.user.email.upper()) == "member_already"
    invited(manager)
    with pytest.raises(Refused, match="invited already"):
        invited(manager, email="NEW@example.org")
    inviting.withdraw(actor=manager, row=Invitation.objects.get(), at=timezone.now())
    invited(manager)


@pytest.mark.parametrize("role", ["member", "supervisor"])
def test_only_a_manager_invites(manager, role):
    other = actor_of(manager.organisation, role=role, today=manager.today)
    for deed in (lambda: invited(other), lambda: inviting.invitations(other)):
        with pytest.raises(Forbidden, match="Only a manager"):
            deed()
    assert not Invitation.objects.exists()


def test_no_waves_of_mail(manager, monkeypatch):
    monkeypatch.setattr(inviting, "MOST_A_DAY", 3)
    for n in range(3):
        invited(manager, email=f"person{n}@example.com")
    assert code_of(invited, manager, email="one.more@example.com") == "too_many_mails"
    assert code_of(
        inviting.send_again, actor=manager, row=Invitation.objects.first(), at=timezone.now()
    ) == "too_many_mails"  # fmt: skip
    other = actor_of(OrganisationFactory(), today=manager.today)
    invited(other)  # each counts for itself
    tomorrow = timezone.now() + timedelta(days=1, minutes=1)
    inviting.invite(actor=manager, email="one.more@example.com", role="member", at=tomorrow)


def test_invitations_of_others_are_not_found(manager):
    row = invited(manager)
    stranger = actor_of(OrganisationFactory(), today=manager.today)
    with pytest.raises(NotFound):
        inviting.invitation(stranger, row.key)
    with pytest.raises(NotFound):
        inviting.invitation(manager, UUID(int=0))
    assert inviting.invitation(manager, row.key) == row
