"""A new password: by its person, or by whoever reads the mail of the account."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core import mail
from django.utils import timezone

from itm.accounts import entrance, passwords, proving
from itm.accounts.models import Try, User
from itm.core import outbox
from itm.core.errors import NotFound, Refused
from itm.core.history import Change
from itm.core.outbox import Job
from tests.factories import PASSWORD, OrganisationFactory, UserFactory, actor_of

pytestmark = pytest.mark.django_db

WORDS = "three parts in a hundred"
NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


def asked(email, caller="192.0.2.1"):
    passwords.ask(email=email, caller=caller, at=timezone.now())
    outbox.run_one()


def token_in_mail():
    return mail.outbox[-1].body.split("/reset/")[1].split()[0].strip("/").split("/")


def test_password_is_set_by_the_link_of_the_mail_once():
    user = UserFactory()
    asked(user.email.upper())
    key, token = token_in_mail()
    assert mail.outbox[-1].to == [user.email]
    passwords.set_anew(key=user.key, token=token, password=WORDS, at=timezone.now())
    assert key == str(user.key)
    user = User.objects.get()
    assert user.check_password(WORDS)
    with pytest.raises(NotFound):
        passwords.set_anew(key=user.key, token=token, password="another one", at=timezone.now())
    line = Change.objects.filter(object_key=user.key).last()
    assert (line.verb, line.person, line.after) == ("password set", user.name, {})
    outbox.run_one()
    assert "set anew by a link" in mail.outbox[-1].body


def test_link_ends_with_its_hour_and_with_the_next_sign_in(settings):
    user = UserFactory()
    asked(user.email)
    _, token = token_in_mail()
    assert passwords.holder(user.key, token) == user
    settings.PASSWORD_RESET_TIMEOUT = -1
    with pytest.raises(NotFound):
        passwords.holder(user.key, token)
    settings.PASSWORD_RESET_TIMEOUT = 3600
    user.last_login = timezone.now()
    user.save(update_fields=["last_login"])
    with pytest.raises(NotFound):
        passwords.holder(user.key, token)


def test_link_of_one_opens_no_other_account():
    user, other = UserFactory(), UserFactory()
    asked(user.email)
    _, token = token_in_mail()
    for key in (other.key, uuid4()):
        with pytest.raises(NotFound):
            passwords.holder(key, token)


@pytest.mark.parametrize("email", ["nobody@example.org", "closed@example.org"])
def test_unknown_and_closed_accounts_are_answered_alike_and_get_no_mail(email):
    UserFactory(email="closed@example.org", is_active=False)
    UserFactory(email="ann@example.org")
    passwords.ask(email="ann@example.org", caller="192.0.2.1", at=NOW)
    passwords.ask(email=email, caller="192.0.2.1", at=NOW)
    assert Job.objects.filter(kind="send_reset").count() == 2  # the same work, the same answer
    outbox.drain()
    assert [one.to for one in mail.outbox] == [["ann@example.org"]]


@pytest.mark.parametrize("email", ["ann@example.org", "nobody@example.org"])
def test_nobody_is_flooded_with_mails(email):
    UserFactory(email="ann@example.org")
    most, _ = entrance.MOST[Try.What.RESET]
    for n in range(most):
        passwords.ask(email=email, caller=f"192.0.2.{n}", at=NOW)
    with pytest.raises(Refused, match="Too many tries"):
        passwords.ask(email=email, caller="198.51.100.1", at=NOW)
    assert Job.objects.filter(kind="send_reset").count() == most


def test_link_lifts_a_lock_that_others_caused():
    user = UserFactory()
    for n in range(entrance.MOST[Try.What.SIGN_IN][0]):
        entrance.knock(email=user.email, caller=f"192.0.2.{n}", at=timezone.now())
    with pytest.raises(Refused):
        entrance.knock(email=user.email, caller="198.51.100.1", at=timezone.now())
    asked(user.email)
    _, token = token_in_mail()
    passwords.set_anew(key=user.key, token=token, password=WORDS, at=timezone.now())
    entrance.knock(email=user.email, caller="198.51.100.1", at=timezone.now())


def test_bad_password_is_refused_and_the_link_still_works():
    user = UserFactory()
    asked(user.email)
    _, token = token_in_mail()
    with pytest.raises(Refused) as refusal:
        passwords.set_anew(key=user.key, token=token, password="short", at=timezone.now())
    assert refusal.value.place == "password"
    assert User.objects.get().check_password(PASSWORD)
    assert passwords.holder(user.key, token) == user


def test_hash_of_a_password_stands_in_no_history():
    actor = actor_of(OrganisationFactory())
    passwords.change(actor=actor, password=WORDS, session_key=None)
    user = User.objects.get()
    user.name = "Another Name"
    user.save(by=actor)
    kept = "".join(str((line.before, line.after)) for line in Change.objects.all())
    assert "Another Name" in kept
    assert user.password not in kept
    assert "password" not in kept


def test_change_wants_a_proof():
    actor = replace(actor_of(OrganisationFactory()), proved=False)
    with pytest.raises(Refused) as refusal:
        passwords.change(actor=actor, password=WORDS, session_key=None)
    assert (refusal.value.code, refusal.value.place) == ("proof_needed", "proof")
    actor = proving.prove(actor=actor, text=PASSWORD, caller="192.0.2.1", at=NOW)
    assert passwords.change(actor=actor, password=WORDS, session_key=None).check_password(WORDS)


def test_proof_lasts_five_minutes():
    for seconds, fresh in ((0, True), (300, True), (301, False), (-1, False)):
        noted = (NOW - timedelta(seconds=seconds)).isoformat()
        assert proving.is_fresh(noted, NOW) is fresh, seconds
    assert not proving.is_fresh(None, NOW)


def test_proof_cannot_be_guessed_by_trying():
    actor = replace(actor_of(OrganisationFactory()), proved=False)

    def prove(text):
        return proving.prove(actor=actor, text=text, caller="192.0.2.1", at=NOW)

    for _ in range(entrance.MOST[Try.What.PROOF][0]):
        with pytest.raises(Refused, match="not your password"):
            prove("wrong")
    with pytest.raises(Refused) as refusal:
        prove(PASSWORD)
    assert (refusal.value.code, refusal.value.place) == ("too_many_tries", "proof")
