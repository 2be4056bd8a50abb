"""What opens at the same moment, on PostgreSQL: of one spot one deficiency, and nothing is lost."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from threading import Barrier
from time import sleep
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection, transaction

from itm.actions.hand_in import hand_in
from itm.actions.record_inspection import record_inspection
from itm.findings.models import Deficiency, Step
from itm.records.inspecting import Entry
from itm.records.models import ProportioningTest
from itm.schedule.models import Duty
from tests.deeds import LOOKED, Day, discharged, look_duty, prepared, read, restored
from tests.factories import ProportionerFactory, TankFactory
from tests.races.test_races import at_once
from tests.races.test_races import programme as programme  # the fixture

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _real_database(transactional_db: None) -> None:
    assert connection.vendor == "postgresql"


def neck_and_neck(deed: Callable[[], Any], barrier: Barrier) -> Callable[[], Any]:
    """The deed, which waits before the first deficiency that it writes until all of them are there:
    each has then looked and found none."""
    waited: list[int] = []

    def wait(execute: Any, sql: str, *rest: Any) -> Any:
        if sql.startswith('INSERT INTO "findings_deficiency"') and not waited:
            waited.append(barrier.wait())
        return execute(sql, *rest)

    def run() -> Any:
        with connection.execute_wrapper(wait):
            return deed()

    return run


def test_two_hand_ins_that_show_one_spot_at_once_open_it_once(programme: None, scene: Any) -> None:
    """Both tests are lean at both flow points: the later to write says that it was found again."""
    days: list[Day] = [
        read(restored(discharged(prepared(scene, on=on))), {"minimum": 2.0, "design": 2.0})
        for on in (date(2025, 6, 15), date(2026, 6, 15))
    ]
    barrier, at = Barrier(2, timeout=30), datetime(2026, 6, 16, 9, tzinfo=UTC)
    at_once(
        *[
            neck_and_neck(
                lambda day=day: hand_in(actor=day.actor, key=day.test.key, at=at), barrier
            )
            for day in days
        ]
    )
    assert set(ProportioningTest.objects.values_list("state", flat=True)) == {"handed_in"}
    rows = Deficiency.objects.filter(cause="lean")
    assert sorted(rows.values_list("spot", flat=True)) == ["design", "minimum"]
    for row in rows:
        life = row.steps.filter(verb__in=[Step.Verb.OPENED, Step.Verb.FOUND_AGAIN])
        assert list(life.values_list("verb", flat=True)) == ["opened", "found_again"]
        assert {step.test_id for step in life} == {day.test.pk for day in days}


def test_two_rounds_with_the_same_faults_in_opposite_order_wait_for_no_deadlock(
    programme: None, scene: Any
) -> None:
    """Each holds the first of its deficiencies for a moment, so that the other is at its own first
    too: were the order that of the round, each would wait for what the other holds, and PostgreSQL
    would end one of them."""
    ProportionerFactory(system=scene.system, tank=TankFactory(site=scene.site))
    with transaction.atomic():
        row = look_duty(scene).requirement
    duties = Duty.objects.filter(requirement=row, done_on=None)
    entries = [Entry(duty, {**LOOKED, "fit": "no"}) for duty in duties.order_by("pk")]

    def held(execute: Any, sql: str, *rest: Any) -> Any:
        got = execute(sql, *rest)
        if 'FROM "findings_deficiency"' in sql and "FOR UPDATE" in sql:
            sleep(0.4)
        return got

    def deed(by: Any, order: list[Entry], day: int) -> Callable[[], Any]:
        def run() -> Any:
            with connection.execute_wrapper(held):
                return record_inspection(
                    actor=by, site=scene.site, done_on=date(2026, 6, day), once=uuid4(),
                    at=datetime(2026, 6, day, 12, tzinfo=UTC), entries=order,
                )  # fmt: skip

        return run

    deed(scene.owner, entries, 10)()
    assert Deficiency.objects.count() == 2
    at_once(deed(scene.owner, entries, 11), deed(scene.contractor, entries[::-1], 11))
    again = Step.objects.filter(verb=Step.Verb.FOUND_AGAIN).values_list("deficiency", flat=True)
    assert sorted(again) == sorted([*Deficiency.objects.values_list("pk", flat=True)] * 2)
