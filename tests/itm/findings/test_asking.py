"""Questions on a record and orders with a day: who asks, who answers, who ends them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from itm.core.errors import Conflict, Forbidden, Refused
from itm.findings import asking
from itm.findings.models import Order, Question
from tests.deeds import tested
from tests.factories import GrantFactory, OrganisationFactory, actor_of

AT = datetime(2026, 6, 20, 9, tzinfo=UTC)


def test_an_authority_asks_and_everybody_of_the_record_answers(scene):
    record = tested(scene)
    row = asking.ask(actor=scene.authority, record=record, words="Which water?", at=AT)
    other = OrganisationFactory(kind="contractor")
    GrantFactory(site=scene.site, organisation=other)
    for actor, sees in (
        (scene.owner, True), (scene.contractor, True), (scene.authority, True),
        (actor_of(other), False),
    ):  # fmt: skip
        assert Question.objects.visible_to(actor).exists() == sees
    asking.answer(actor=scene.contractor, question=row, words="From the hydrant.", at=AT)
    with pytest.raises(Forbidden):
        asking.close_question(actor=scene.owner, question=row, at=AT)
    for _ in range(2):
        asking.close_question(actor=scene.authority, question=row, at=AT)
    with pytest.raises(Conflict):
        asking.answer(actor=scene.owner, question=row, words="And the tank?", at=AT)
    assert row.answers.get().words == "From the hydrant."


def test_nothing_is_asked_on_a_draft_or_by_others(scene):
    record = tested(scene, until="handed_in")
    with pytest.raises(Refused, match="sealed"):
        asking.ask(actor=scene.authority, record=record, words="Which water?", at=AT)
    with pytest.raises(Forbidden):
        asking.ask(actor=scene.owner, record=record, words="Which water?", at=AT)


def test_an_order_stays_open_until_the_authority_says_it_is_met(scene):
    ask = {"site": scene.site, "words": "Retest it", "at": AT}
    with pytest.raises(Forbidden):
        asking.order(actor=scene.owner, due_on=date(2026, 7, 1), **ask)
    with pytest.raises(Refused, match="over"):
        asking.order(actor=scene.authority, due_on=date(2026, 6, 1), **ask)
    row = asking.order(actor=scene.authority, due_on=date(2026, 7, 1), **ask)
    with pytest.raises(Forbidden):
        asking.see_order(actor=scene.contractor, order=row, at=AT)
    asking.see_order(actor=scene.owner, order=row, at=AT + timedelta(hours=1))
    with pytest.raises(Forbidden):
        asking.meet_order(actor=scene.owner, order=row, words="we did", at=AT)
    with pytest.raises(Refused):
        asking.meet_order(actor=scene.authority, order=row, words=" ", at=AT)
    later = AT + timedelta(days=3)
    asking.meet_order(actor=scene.authority, order=row, words="the retest of 22 June", at=later)
    row = Order.objects.get()
    assert (row.seen_by, row.met_by) == (scene.owner.person, scene.authority.person)
