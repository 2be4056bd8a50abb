"""Who manages no more has no way back in, and nothing lasting is made on a screen left open."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from itm.accounts import inviting, people, tokens
from itm.accounts.models import ApiToken, Invitation, Membership
from itm.actions.change_role import change_role
from itm.actions.invite_contractor import invite_contractor
from itm.actions.remove_person import remove_person
from itm.actions.reset_password import reset_password
from itm.core import outbox
from itm.core.errors import NotFound, Refused
from itm.notices import services as notices
from itm.registry import links
from itm.registry.models import ReadLink
from itm.web.proving import PROVED
from tests.factories import PASSWORD, actor_of
from tests.letters import last_link

WORDS = "some other words of mine"


@pytest.fixture
def leaver(scene):
    """A second manager of the owner, today."""
    return replace(actor_of(scene.owner.organisation), today=timezone.now().date())


@pytest.fixture
def given_out(scene, leaver):
    """The secrets of a link and of an invitation to an address of its own, as a manager."""
    now = timezone.now()
    row, secret = links.make(
        actor=leaver, name="a friend", sites=[scene.site],
        ends_on=now.date() + timedelta(days=300), at=now,
    )  # fmt: skip
    inviting.invite(actor=leaver, email="own@example.org", role="manager", at=now)
    assert row.stands(now.date()) == "works"
    return secret, last_link("join")


def today(actor):
    return replace(actor, today=timezone.now().date())


def lowered(scene, leaver):
    return change_role(
        actor=today(scene.owner), row=leaver.user.memberships.get(), role="member",
        reason="another job", at=timezone.now(),
    )  # fmt: skip


def removed(scene, leaver):
    return remove_person(
        actor=today(scene.owner), row=leaver.user.memberships.get(), reason="left",
        at=timezone.now(),
    )  # fmt: skip


@pytest.mark.parametrize("deed", [lowered, removed])
def test_what_a_manager_gave_out_ends_with_the_role(scene, leaver, given_out, deed, client):
    kept, _ = links.make(
        actor=scene.owner, name="an insurer", sites=[scene.site],
        ends_on=timezone.now().date(), at=timezone.now(),
    )  # fmt: skip
    secret, joining = given_out
    _, ended = deed(scene, leaver)
    assert ended == ["the invitation of own@example.org", "the link for readers “a friend”"]
    assert client.get(reverse("shared_sites", args=[secret])).status_code == 410
    assert client.get(reverse("join", args=[joining])).status_code == 410
    with pytest.raises(Refused, match="was withdrawn"):
        inviting.accept(token=joining, at=timezone.now(), name="One", password=WORDS)
    line = links.changes(ReadLink.objects.get(name="a friend")).last()
    assert (line.verb, line.person) == ("revoked", scene.owner.person)
    assert leaver.person in line.note
    kept.refresh_from_db()
    assert kept.revoked_at is None


def test_a_refused_removal_ends_nothing(scene, leaver, given_out):
    with pytest.raises(Refused, match="Say why"):
        remove_person(
            actor=today(scene.owner), row=leaver.user.memberships.get(), reason=" ",
            at=timezone.now(),
        )  # fmt: skip
    assert not ReadLink.objects.exclude(revoked_at=None).exists()
    assert not Invitation.objects.exclude(withdrawn_at=None).exists()


def test_the_page_says_what_ended_with_the_person(scene, leaver, given_out, client, sign_in):
    page = sign_in(client, scene.owner)
    row = leaver.user.memberships.get()
    said = page.post(reverse("person_remove", args=[row.key]), {"reason": "left"}, follow=True)
    assert "the link for readers “a friend”" in said.content.decode()


def test_who_did_it_and_whom_it_befell_are_told(scene, leaver):
    removed(scene, leaver)
    outbox.drain()
    told = {one.to[0]: one.body for one in mail.outbox}
    assert f"{leaver.person} was removed" in told[scene.owner.user.email]
    assert f"no longer belong to {scene.owner.organisation}" in told[leaver.user.email]


# Deeds whose fruit outlives the session -----------------------------------------------------------


def deeds_of(scene, leaver):
    now, one = timezone.now(), leaver.user.memberships.get()
    day = now.date()
    return {
        "token_new": lambda by: tokens.make(
            actor=by, name="a program", scopes=["read"], expires_on=day, at=now
        ),
        "read_link_new": lambda by: links.make(
            actor=by, name="a reader", sites=[scene.site], ends_on=day, at=now
        ),
        "feed_new": lambda by: notices.new_feed(actor=by, at=now),
        "invite": lambda by: inviting.invite(
            actor=by, email="new@example.org", role="member", at=now
        ),
        "contractor_invite": lambda by: invite_contractor(
            actor=by, founds="Works", email="w@example.org", sites=[scene.site], starts_on=day,
            ends_on=None, at=now,
        ),
        "person_role": lambda by: people.change_role(
            actor=by, row=one, role="member", reason="x"
        ),
        "person_remove": lambda by: people.remove(actor=by, row=one, reason="x"),
    }  # fmt: skip


TOLD = {
    "token_new": "A token for a program was made in your account: a program",
    "read_link_new": "A link for readers was made in your account: a reader",
    "feed_new": "A calendar address was made in your account",
    "invite": "an invitation was sent to new@example.org",
    "contractor_invite": "an invitation was sent to w@example.org",
    "person_role": "the role of",
    "person_remove": "was removed from the organisation",
}


@pytest.mark.parametrize("name", TOLD)
def test_a_lasting_deed_wants_a_proof_and_its_person_is_told(scene, leaver, name):
    deed, actor = deeds_of(scene, leaver)[name], today(scene.owner)
    with pytest.raises(Refused) as refusal:
        deed(replace(actor, proved=False))
    assert refusal.value.code == "proof_needed"
    assert not ApiToken.objects.exists()
    assert not ReadLink.objects.exists()
    assert not Invitation.objects.exists()
    deed(actor)
    outbox.drain()
    bodies = [one.body for one in mail.outbox if one.to == [actor.user.email]]
    assert any(TOLD[name] in body for body in bodies), bodies


@pytest.mark.parametrize("name", TOLD)
def test_its_page_asks_for_the_password_once_the_last_proof_is_old(scene, leaver, name, sign_in):
    page = sign_in(Client(), scene.owner)
    session = page.session
    session[PROVED] = (timezone.now() - timedelta(hours=9)).isoformat()
    session.save()
    key = [leaver.user.memberships.get().key] if name.startswith("person") else []
    url, day = reverse(name, args=key), timezone.now().date().isoformat()
    typed = {
        "name": "n", "scopes": ["read"], "expires_on": day, "ends_on": day, "role": "member",
        "sites": [scene.site.key], "email": "e@example.org", "reason": "x", "founds": "Works",
        "starts_on": day,
    }  # fmt: skip
    before = Membership.objects.get(pk=leaver.user.memberships.get().pk)
    assert 'name="proof"' in page.get(url).content.decode()
    for proof in ("", "not it"):
        assert page.post(url, typed | {"proof": proof}).status_code == 422
    assert not ApiToken.objects.exists()
    assert not ReadLink.objects.exists()
    assert not Invitation.objects.exists()
    after = Membership.objects.get(pk=before.pk)
    assert (after.role, after.ended_on) == (before.role, before.ended_on)
    got = page.post(url, typed | {"proof": PASSWORD})
    assert got.status_code == 302, got.content.decode()[-3000:]


def test_a_reset_by_mail_ends_tokens_and_calendars(scene):
    now, person = timezone.now(), scene.owner.user
    actor = today(scene.owner)
    _, token = tokens.make(
        actor=actor, name="a program", scopes=["read"], expires_on=now.date(), at=now
    )
    feed = notices.new_feed(actor=actor, at=now)
    other = today(actor_of(scene.owner.organisation))
    _, others = tokens.make(
        actor=other, name="another", scopes=["read"], expires_on=now.date(), at=now
    )
    reset_password(
        key=person.key, token=default_token_generator.make_token(person), password=WORDS, at=now
    )
    with pytest.raises(Refused, match="revoked"):
        tokens.bearer_of(token, now)
    with pytest.raises(NotFound):
        notices.reader_of(feed, now)
    assert tokens.bearer_of(others, now).actor.user == other.user
    line = tokens.changes(ApiToken.objects.get(name="a program")).last()
    assert (line.verb, line.note) == ("revoked", "the password was set anew by mail")
    outbox.drain()
    assert any("addresses that you made work no more" in one.body for one in mail.outbox)


def test_the_page_of_the_mail_does_the_same(scene, client):
    now, person = timezone.now(), scene.owner.user
    feed = notices.new_feed(actor=today(scene.owner), at=now)
    url = reverse("reset", args=[person.key, default_token_generator.make_token(person)])
    assert "calendar addresses" in client.get(url).content.decode()
    assert client.post(url, {"password": WORDS, "again": WORDS}).status_code == 302
    assert client.get(reverse("calendar_feed", args=[feed])).status_code == 404
