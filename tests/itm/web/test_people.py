"""Pages of the people of an organisation, and taking an invitation up."""

import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.accounts import inviting
from itm.accounts.models import Invitation, Membership
from tests.factories import (
    PASSWORD,
    MembershipFactory,
    OrganisationFactory,
    SiteFactory,
    actor_of,
)
from tests.letters import last_link

pytestmark = pytest.mark.django_db

WORDS = "three parts in a hundred"


@pytest.fixture
def manager():
    return actor_of(OrganisationFactory(), today=timezone.now().date())


@pytest.fixture
def page(client, sign_in, manager):
    return sign_in(client, manager)


def said(answer):
    return answer.content.decode()


def test_invited_by_mail_joined_and_signed_in(page, manager):
    sent = page.post(reverse("invite"), {"email": "new@example.org", "role": "member"}, follow=True)
    assert "Invited: new@example.org" in said(sent)
    assert "the mail has not left yet" in said(sent)
    there = reverse("join", args=[last_link("join")])
    stranger = Client()
    opened = stranger.get(there)
    assert opened.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-store" in opened.headers["Cache-Control"]
    assert f"{manager.organisation} invites you as member" in said(opened)
    typed = {"name": "Ann Example", "password": WORDS, "again": WORDS}
    joined = stranger.post(there, typed, follow=True)
    assert joined.redirect_chain[-1][0] == reverse("sign_in")
    assert "Sign in with new@example.org" in said(joined)
    assert "_auth_user_id" not in stranger.session  # there is one way to sign in
    entered = stranger.post(
        reverse("sign_in"), {"username": "new@example.org", "password": WORDS}, follow=True
    )
    assert "Ann Example" in said(entered)
    again = stranger.get(there)
    assert again.status_code == 410
    assert "accepted already" in said(again)
    assert "Ann Example" in said(page.get(reverse("people")))


def test_what_is_wrong_is_said_and_the_name_is_not_lost(page, manager):
    inviting.invite(actor=manager, email="new@example.org", role="member", at=timezone.now())
    there = reverse("join", args=[last_link("join")])
    stranger = Client()
    for typed, sentence in (
        ({"password": WORDS, "again": WORDS + "s"}, "differs from the password above"),
        ({"password": "short", "again": "short"}, "too short"),
        ({"password": "", "again": ""}, "This field is required"),
    ):
        got = stranger.post(there, {"name": "Ann Example", **typed})
        assert got.status_code == 422
        assert sentence in said(got)
        assert 'value="Ann Example"' in said(got)
        assert WORDS not in said(got)
    assert not Membership.objects.filter(user__email="new@example.org").exists()


def test_known_person_joins_by_one_press_and_acts_for_both(page, manager, sign_in):
    other = actor_of(OrganisationFactory(), today=manager.today)
    inviting.invite(actor=manager, email=other.user.email, role="member", at=timezone.now())
    there = reverse("join", args=[last_link("join")])
    theirs = sign_in(Client(), other)
    assert "You have an account with this address" in said(theirs.get(there))
    joined = theirs.post(there, follow=True)
    assert "act for it now" in said(joined)
    assert manager.organisation.name in said(theirs.get(reverse("account")))


def test_another_person_on_the_device_is_signed_out(page, manager, sign_in):
    elsewhere = MembershipFactory()
    inviting.invite(actor=manager, email=elsewhere.user.email, role="member", at=timezone.now())
    there = reverse("join", args=[last_link("join")])
    assert f"{manager.person} is signed in" in said(page.get(there))
    page.post(there)
    assert "_auth_user_id" not in page.session


def test_link_that_nobody_sent_says_so(client):
    got = client.get(reverse("join", args=["nothing"]))
    assert got.status_code == 404
    assert "never sent" in said(got)


def test_sent_again_and_withdrawn(page, manager):
    row = inviting.invite(actor=manager, email="new@example.org", role="member", at=timezone.now())
    there = reverse("invitation", args=[row.key])
    assert "Another mail is on its way" in said(
        page.post(reverse("invitation_again", args=[row.key]), follow=True)
    )
    assert "sent again" in said(page.get(there))
    assert "Withdrawn" in said(
        page.post(reverse("invitation_withdraw", args=[row.key]), follow=True)
    )
    assert "Send it again" not in said(page.get(there))
    assert "withdrawn" in said(page.get(reverse("people")))


def test_manager_changes_a_role_and_removes(page, manager):
    row = MembershipFactory(organisation=manager.organisation, role="member")
    empty = page.post(reverse("person_role", args=[row.key]), {"role": "supervisor"})
    assert empty.status_code == 422
    page.post(reverse("person_role", args=[row.key]), {"role": "supervisor", "reason": "examined"})
    shown = said(page.get(reverse("person", args=[row.key])))
    assert "role changed from member to supervisor" in shown
    assert "examined" in shown
    page.post(reverse("person_remove", args=[row.key]), {"reason": "left the company"})
    gone = said(page.get(reverse("person", args=[row.key])))
    assert "left the company" in gone
    assert "Change the role" not in gone
    assert "People who left" in said(page.get(reverse("people")))


def test_last_manager_is_told_why_not(page, manager):
    mine = manager.user.memberships.get()
    got = page.post(reverse("person_remove", args=[mine.key]), {"reason": "enough of it"})
    assert got.status_code == 422
    assert "only manager" in said(got)
    assert "enough of it" in said(got)


@pytest.mark.parametrize("role", ["member", "supervisor"])
def test_others_see_the_people_and_no_more(client, sign_in, manager, role):
    row = inviting.invite(actor=manager, email="new@example.org", role="member", at=timezone.now())
    other = actor_of(manager.organisation, role=role, today=manager.today)
    page = sign_in(client, other)
    shown = said(page.get(reverse("people")))
    assert manager.person in shown
    assert "new@example.org" not in shown
    assert reverse("invite") not in shown
    mine = other.user.memberships.get()
    for name, args in (
        ("invite", []), ("person_role", [mine.key]), ("person_remove", [mine.key]),
        ("invitation", [row.key]),
    ):  # fmt: skip
        assert page.get(reverse(name, args=args)).status_code == 403, name
    for name in ("invitation_again", "invitation_withdraw"):
        assert page.post(reverse(name, args=[row.key])).status_code == 403, name
    assert Invitation.objects.get().mails == 1


def test_person_removed_is_told_so_at_the_next_page(client, sign_in, manager, page):
    member = actor_of(manager.organisation, role="member", today=manager.today)
    theirs = sign_in(Client(), member)
    assert theirs.get(reverse("people")).status_code == 200
    key = member.user.memberships.get().key
    page.post(reverse("person_remove", args=[key]), {"reason": "left"})
    assert "belong to no organisation" in said(theirs.get(reverse("people")))
    assert Client().login(username=member.user.email, password=PASSWORD)


def test_owner_invites_a_contractor_for_some_sites(client, page, manager):
    sites = [SiteFactory(owner=manager.organisation) for _ in range(2)]
    there = reverse("contractor_invite")
    shown = said(page.get(there, {"site": sites[0].key}))
    assert re.search(rf'value="{sites[0].key}"[^>]*checked', shown)
    assert not re.search(rf'value="{sites[1].key}"[^>]*checked', shown)
    typed = {"founds": "Bay Foam Testing", "email": "boss@example.org", "starts_on": "2026-12-01"}
    none = page.post(there, typed)
    assert none.status_code == 422
    assert "Tick the sites" in said(none)
    assert 'value="Bay Foam Testing"' in said(none)
    sent = said(page.post(there, typed | {"sites": [sites[0].key]}, follow=True))
    assert "bring Bay Foam Testing as a contractor" in sent
    assert sites[0].name in sent
    stranger = Client()
    link = reverse("join", args=[last_link("join")])
    assert 'value="Bay Foam Testing"' in said(stranger.get(link))
    founding = {"founds": "Bay Foam", "name": "Rosa", "password": WORDS, "again": WORDS}
    stranger.post(link, founding)
    stranger.post(reverse("sign_in"), {"username": "boss@example.org", "password": WORDS})
    assert "Bay Foam" in said(stranger.get(reverse("account")))
    assert sites[1].name not in said(stranger.get(reverse("sites")))
