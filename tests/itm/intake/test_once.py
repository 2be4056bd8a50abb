"""A key is asked for once: the repeat gets the first answer, and nothing is done again."""

import json
import uuid
from datetime import UTC, datetime

import pytest

from itm.accounts.actor import system
from itm.core.errors import Forbidden, Refused
from itm.intake.models import Receipt
from itm.intake.once import once
from tests.factories import OrganisationFactory, actor_of

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
LATER = datetime(2026, 6, 16, 12, tzinfo=UTC)


class Deed:
    """Counts how often it was done."""

    def __init__(self) -> None:
        self.done = 0

    def __call__(self) -> dict:
        self.done += 1
        return {"number": self.done, "at": NOW}


@pytest.fixture
def actor(db):
    return actor_of(OrganisationFactory(kind="contractor"))


def ask(actor, key, deed, body=None, what="reading", at=NOW):
    return once(actor=actor, key=key, what=what, body=body or {"value": "1.3336"}, do=deed, at=at)


def test_a_repeat_gets_the_first_answer_and_does_nothing(actor):
    key, deed = uuid.uuid4(), Deed()
    answers = [ask(actor, key, deed, at=NOW if not n else LATER) for n in range(10)]
    assert deed.done == 1
    assert [answer.repeated for answer in answers] == [False] + [True] * 9
    told = {json.dumps(answer.value) for answer in answers}  # to the byte, on any database
    assert told == {'{"at": "2026-06-15T12:00:00Z", "number": 1}'}
    receipt = Receipt.objects.get()
    assert receipt.taken_at == NOW


def test_the_order_of_the_keys_of_a_body_is_no_difference(actor):
    key, deed = uuid.uuid4(), Deed()
    ask(actor, key, deed, {"a": 1, "b": "2"})
    assert ask(actor, key, deed, {"b": "2", "a": 1}).repeated


@pytest.mark.parametrize(("body", "what"), [({"value": "1.3363"}, "reading"), (None, "notice")])
def test_another_thing_under_the_same_key_is_refused(actor, body, what):
    key, deed = uuid.uuid4(), Deed()
    ask(actor, key, deed)
    with pytest.raises(Refused) as refusal:
        ask(actor, key, deed, body, what)
    assert refusal.value.code == "other_body"
    assert deed.done == 1


def test_refused_work_keeps_no_receipt_and_may_come_again(actor):
    key = uuid.uuid4()

    def refuse():
        raise Refused("not_started", "Start the test day first.")

    with pytest.raises(Refused):
        ask(actor, key, refuse)
    assert not Receipt.objects.exists()
    assert not ask(actor, key, Deed()).repeated


def test_two_organisations_may_use_the_same_key(actor):
    key, deed = uuid.uuid4(), Deed()
    ask(actor, key, deed)
    assert not ask(actor_of(OrganisationFactory(kind="contractor")), key, deed).repeated
    assert deed.done == 2


def test_who_acts_for_nobody_has_no_key(db):
    with pytest.raises(Forbidden):
        ask(system(NOW.date()), uuid.uuid4(), Deed())


@pytest.mark.parametrize("body", [{"value": 2**60}, {"value": float("nan")}, {"text": "\ud800"}])
def test_what_json_cannot_carry_is_refused_with_a_sentence(actor, body):
    with pytest.raises(Refused) as refusal:
        ask(actor, uuid.uuid4(), Deed(), body)
    assert refusal.value.code == "bad_body"
