"""Accounts at one moment, on PostgreSQL: a link joins once, and guesses at once are counted."""

from datetime import UTC, datetime

import pyotp
import pytest
from django.db import connection
from django.utils import timezone

from itm.accounts import codes, entrance, inviting, people, second_factor
from itm.accounts.models import Membership, Try, User
from itm.core.errors import Refused
from tests.factories import OrganisationFactory, actor_of
from tests.letters import last_link
from tests.races.test_races import at_once

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _real_database(transactional_db: None) -> None:
    assert connection.vendor == "postgresql"


def outcome(deed):
    """What came of it: the code of a refusal, or done."""
    try:
        deed()
    except Refused as refusal:
        return refusal.code
    return "done"


def test_link_that_two_follow_at_once_joins_one():
    manager = actor_of(OrganisationFactory(), today=timezone.now().date())
    inviting.invite(actor=manager, email="new@example.org", role="member", at=timezone.now())
    token = last_link("join")

    def join(name):
        return outcome(
            lambda: inviting.accept(
                token=token, at=timezone.now(), name=name, password="three parts in a hundred"
            )
        )

    answers = at_once(*[lambda n=n: join(f"Person {n}") for n in range(6)])
    assert sorted(answers) == ["done"] + ["invitation_accepted"] * 5
    assert User.objects.filter(email="new@example.org").count() == 1
    assert Membership.objects.filter(organisation=manager.organisation).count() == 2


def test_two_managers_who_remove_each_other_leave_one():
    home = OrganisationFactory()
    one, other = actor_of(home), actor_of(home)
    rows = {actor: actor.user.memberships.get() for actor in (one, other)}
    answers = at_once(
        lambda: outcome(lambda: people.remove(actor=one, row=rows[other], reason="x")),
        lambda: outcome(lambda: people.remove(actor=other, row=rows[one], reason="x")),
    )
    assert sorted(answers) == ["done", "last_manager"]
    assert Membership.objects.filter(organisation=home, ended_on=None).count() == 1


def test_guesses_at_once_are_no_more_than_one_after_the_other():
    most, _ = entrance.MOST[Try.What.SIGN_IN]

    def knock():
        return outcome(lambda: entrance.knock(email="ann@example.org", caller="a", at=NOW))

    answers = at_once(*[knock] * (3 * most))
    assert answers.count("done") <= most


def test_code_typed_twice_at_once_lets_in_once():
    actor = actor_of(OrganisationFactory())
    row = second_factor.begin(actor=actor, at=NOW)
    device = pyotp.TOTP(row.secret)
    paper = second_factor.confirm(actor=actor, code=device.at(NOW), at=NOW)
    later = datetime(2026, 6, 15, 13, tzinfo=UTC)
    for code in (device.at(later), paper[0]):
        answers = at_once(*[lambda code=code: codes.fits(actor.user, code, later)] * 6)
        assert answers.count(True) == 1
