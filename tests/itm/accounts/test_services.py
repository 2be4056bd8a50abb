"""The first person of a new installation."""

import io

import pytest
from django.core.management import CommandError, call_command

from itm.accounts.models import Membership, Organisation, User

pytestmark = pytest.mark.django_db

ARGUMENTS = [
    "add_person", "ann@example.org", "Ann Example", "--organisation", "Harbour Works",
    "--kind", "owner",
]  # fmt: skip


def test_the_command_lets_the_first_person_in(monkeypatch, client):
    monkeypatch.setattr("sys.stdin", io.StringIO("three parts in a hundred\n"))
    call_command(*ARGUMENTS, stdout=io.StringIO())
    membership = Membership.objects.get()
    assert (membership.role, membership.organisation.kind) == ("manager", "owner")
    assert client.login(username="ann@example.org", password="three parts in a hundred")


def test_a_second_run_adds_nothing(monkeypatch):
    for _ in range(2):
        monkeypatch.setattr("sys.stdin", io.StringIO("three parts in a hundred\n"))
        call_command(*ARGUMENTS, stdout=io.StringIO())
    assert (User.objects.count(), Organisation.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("change", "words"),
    [({"password": "short"}, "too short"), ({"email": "no address"}, "valid email")],
)
def test_what_is_wrong_is_said_and_nothing_is_saved(monkeypatch, change, words):
    monkeypatch.setattr("sys.stdin", io.StringIO(change.get("password", "a long password") + "\n"))
    arguments = [ARGUMENTS[0], change.get("email", ARGUMENTS[1]), *ARGUMENTS[2:]]
    with pytest.raises(CommandError, match=words):
        call_command(*arguments, stdout=io.StringIO())
    assert not Organisation.objects.exists()
