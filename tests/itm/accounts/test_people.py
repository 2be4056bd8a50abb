"""Who belongs to an organisation: roles, removal, and the last manager."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from itm.accounts import people, tokens
from itm.accounts.actor import open_memberships
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from tests.factories import TODAY, OrganisationFactory, actor_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def home():
    return OrganisationFactory()


def of(actor):
    return actor.user.memberships.get()


def test_manager_changes_a_role_and_says_why(home):
    manager, member = actor_of(home), actor_of(home, role="member")
    row = people.change_role(actor=manager, row=of(member), role="supervisor", reason="took a test")
    assert row.role == "supervisor"
    line = people.changes(row).last()
    assert (line.person, line.verb, line.note) == (manager.person, "role changed", "took a test")
    assert (line.before["role"], line.after["role"]) == ("member", "supervisor")


def test_person_removed_sees_nothing_from_that_day_and_keeps_the_name(home):
    manager, member = actor_of(home), actor_of(home, role="member")
    now = datetime(2026, 6, 15, 12, tzinfo=UTC)
    _, text = tokens.make(
        actor=member_as_manager(member), name="logger", scopes=["read"], expires_on=TODAY, at=now
    )
    row = people.remove(actor=manager, row=of(member), reason="left the company")
    assert open_memberships(member.user, TODAY) == []
    assert row.user.name == member.person  # the row stays, under the name
    with pytest.raises(Refused, match="no longer acts"):
        tokens.bearer_of(text, now)
    assert Change.objects.filter(model="accounts.ApiToken", person=member.person).exists()


def member_as_manager(member):
    row = of(member)
    row.role = "manager"
    row.save(by=member)
    row.refresh_from_db()
    return replace(member, role="manager")


@pytest.mark.parametrize("role", ["member", "supervisor"])
def test_only_a_manager_says_who_belongs(home, role):
    manager, other = actor_of(home), actor_of(home, role=role)
    with pytest.raises(Forbidden, match="Only a manager"):
        people.remove(actor=other, row=of(manager), reason="x")
    with pytest.raises(Forbidden, match="Only a manager"):
        people.change_role(actor=other, row=of(other), role="manager", reason="x")


@pytest.mark.parametrize("role", ["supervisor", "manager"])
def test_nobody_gives_a_role_above_the_own(home, role):
    with pytest.raises(Forbidden, match="cannot make anybody"):
        people.require_rank(actor_of(home, role="member"), role)


def test_last_manager_can_neither_go_nor_step_down(home):
    manager = actor_of(home)
    actor_of(home, role="supervisor")
    with pytest.raises(Refused) as gone:
        people.remove(actor=manager, row=of(manager), reason="x")
    with pytest.raises(Refused) as down:
        people.change_role(actor=manager, row=of(manager), role="member", reason="x")
    assert (gone.value.code, down.value.code) == ("last_manager", "last_manager")
    second = actor_of(home)
    people.remove(actor=manager, row=of(manager), reason="x")
    with pytest.raises(Refused, match="only manager"):
        people.remove(actor=second, row=of(second), reason="x")


def test_manager_who_left_or_whose_account_is_closed_is_no_other_manager(home):
    manager, left, closed = actor_of(home), actor_of(home), actor_of(home)
    row = of(left)
    row.ended_on = TODAY
    row.save(by=manager)
    closed.user.is_active = False
    closed.user.save(by=manager)
    with pytest.raises(Refused, match="only manager"):
        people.remove(actor=manager, row=of(manager), reason="x")


def test_who_left_is_not_removed_again(home):
    manager, member = actor_of(home), actor_of(home, role="member")
    people.remove(actor=manager, row=of(member), reason="left")
    for deed in (people.remove, lambda **given: people.change_role(role="member", **given)):
        with pytest.raises(Refused, match="left on 2026-06-15"):
            deed(actor=manager, row=of(member), reason="again")


def test_a_reason_is_asked_for(home):
    manager, member = actor_of(home), actor_of(home, role="member")
    with pytest.raises(Refused) as refusal:
        people.remove(actor=manager, row=of(member), reason="  ")
    assert refusal.value.place == "reason"


def test_people_of_others_are_not_found(home):
    stranger = actor_of(OrganisationFactory())
    row = of(actor_of(home))
    with pytest.raises(NotFound):
        people.remove(actor=stranger, row=row, reason="x")
    assert list(people.people(stranger)) == [of(stranger)]
    later = replace(stranger, today=date(2026, 6, 15) + timedelta(days=1), organisation=None)
    assert list(people.people(later)) == []
