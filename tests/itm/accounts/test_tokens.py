"""Tokens of programs: who makes them, who is let in by them, and until when."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from itm.accounts import tokens
from itm.accounts.actor import Actor, system
from itm.accounts.models import ApiToken
from itm.core.errors import Forbidden, NotFound, Refused
from itm.core.history import Change
from tests.factories import OrganisationFactory, actor_of

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
TODAY = NOW.date()

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Actor:
    return actor_of(OrganisationFactory())


def made(actor: Actor, **values: object) -> tuple[ApiToken, str]:
    given = {"name": "bench logger", "scopes": ["read"], "expires_on": TODAY} | values
    return tokens.make(actor=actor, at=NOW, **given)  # type: ignore[arg-type]


def refusal(text: str, at: datetime = NOW) -> str:
    with pytest.raises(Refused) as refused:
        tokens.bearer_of(text, at)
    return refused.value.code


def test_bearer_acts_as_the_maker_through_the_interface(manager: Actor) -> None:
    _, text = made(manager, scopes=["hand_in", "read"])
    bearer = tokens.bearer_of(text, NOW)
    assert (bearer.actor.user, bearer.actor.organisation) == (manager.user, manager.organisation)
    assert (bearer.actor.via, bearer.actor.role) == ("api", "manager")
    assert bearer.scopes == {"read", "hand_in"}


def test_token_is_long_and_kept_nowhere(manager: Actor) -> None:
    row, text = made(manager)
    secret = text.split(".")[2]
    assert len(secret) * 6 >= 256
    kept = [str(value) for value in ApiToken.objects.values().get(pk=row.pk).values()]
    noted = [str(change.after) for change in Change.objects.all()]
    assert not any(secret in one for one in kept + noted)
    assert not any(row.digest in one for one in noted)


@pytest.mark.parametrize(
    "wrong",
    ["", "itm", "itm..", "a.b.c", "itm.{prefix}.", "itm.{prefix}.x", "{text}x", "\ud800.\0.x",
     "itm.\u00b2.x"],
)  # fmt: skip
def test_wrong_token_is_not_known(manager: Actor, wrong: str) -> None:
    row, text = made(manager)
    assert refusal(wrong.format(prefix=row.prefix, text=text)) == "token_unknown"


def test_last_day_is_included(manager: Actor) -> None:
    _, text = made(manager)
    assert tokens.bearer_of(text, NOW.replace(hour=23))
    assert refusal(text, NOW + timedelta(days=1)) == "token_ran_out"


def test_revoked_token_is_refused_at_once_and_revoking_twice_changes_nothing(
    manager: Actor,
) -> None:
    row, text = made(manager)
    first = tokens.revoke(actor=manager, row=row, at=NOW)
    again = tokens.revoke(actor=manager, row=row, at=NOW + timedelta(hours=1))
    assert first.revoked_at == again.revoked_at == NOW
    assert refusal(text) == "token_revoked"
    assert [change.verb for change in tokens.changes(row)] == ["created", "revoked"]


@pytest.mark.parametrize("how", ["membership ends", "account closed"])
def test_token_of_who_left_stops_working(manager: Actor, how: str) -> None:
    row, text = made(manager)
    if how == "membership ends":
        row.membership.ended_on = TODAY
        row.membership.save(by=system(TODAY))
    else:
        row.membership.user.is_active = False
        row.membership.user.save(by=system(TODAY))
    assert refusal(text) == "token_person_left"


@pytest.mark.parametrize(
    ("expires_on", "code"),
    [(TODAY - timedelta(days=1), "expires_early"), (TODAY + timedelta(days=367), "expires_late")],
)
def test_token_lasts_a_year_at_most(manager: Actor, expires_on: date, code: str) -> None:
    with pytest.raises(Refused) as refused:
        made(manager, expires_on=expires_on)
    assert (refused.value.code, refused.value.place) == (code, "expires_on")
    assert made(manager, expires_on=TODAY + timedelta(days=366))


def test_name_is_taken_until_its_token_is_revoked(manager: Actor) -> None:
    row, _ = made(manager)
    with pytest.raises(Refused, match="already have a token of that name"):
        made(manager, name="Bench Logger ")
    tokens.revoke(actor=manager, row=row, at=NOW)
    assert made(manager)


def test_token_that_may_nothing_is_refused(manager: Actor) -> None:
    with pytest.raises(Refused) as refused:
        made(manager, scopes=["other"])
    assert refused.value.place == "scopes"
    row, _ = made(manager)
    row.scopes = ""
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(by=manager)


def test_only_managers_make_and_revoke(manager: Actor) -> None:
    row, _ = made(manager)
    member = replace(manager, role="member")
    for deed in (
        lambda: made(member),
        lambda: tokens.revoke(actor=member, row=row, at=NOW),
        lambda: tokens.tokens(member),
    ):
        with pytest.raises(Forbidden, match="Only a manager"):
            deed()


def test_token_of_another_organisation_is_not_found(manager: Actor) -> None:
    row, _ = made(manager)
    other = actor_of(OrganisationFactory())
    with pytest.raises(NotFound):
        tokens.token(other, row.key)
    colleague = actor_of(manager.organisation)
    assert tokens.token(colleague, row.key) == row


def test_use_is_noted_once_a_minute_and_is_no_history(manager: Actor) -> None:
    row, text = made(manager)
    changes = Change.objects.count()
    for seconds in (0, 1, 59, 60):
        with CaptureQueriesContext(connection) as asked:
            tokens.bearer_of(text, NOW + timedelta(seconds=seconds))
        wrote = [q for q in asked.captured_queries if q["sql"].startswith("UPDATE")]
        assert len(wrote) == (seconds in (0, 60)), seconds
    row.refresh_from_db()
    assert row.last_used_at == NOW + timedelta(seconds=60)
    assert Change.objects.count() == changes
