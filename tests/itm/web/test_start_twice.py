"""Two people of a crew start the same day by the page, in other words."""

from datetime import UTC, datetime

import pytest

from itm.actions.start_test_day import start_test_day
from itm.records.merge import Crossed
from itm.records.models import Visit
from tests import deeds
from tests.itm.web.test_visits import press

AT = datetime(2026, 6, 15, 8, 0, tzinfo=UTC)


def test_start_a_second_time_changes_nothing_and_says_what_stands(client, sign_in, scene):
    crew, day = sign_in(client, scene.contractor), deeds.prepared(scene).test
    before = Visit.objects.get()
    other = {"reason": "Again", "coordinator": "X"}
    with pytest.raises(Crossed):
        start_test_day(actor=scene.contractor, key=day.visit.key, at=AT, **other)
    answer = press(crew, "start_test_day", day.visit.key, **other)
    assert (answer.status_code, "Again, coordinator X" in answer.content.decode()) == (422, True)
    same = {"reason": before.impairment_reason, "coordinator": before.coordinator}
    assert press(crew, "start_test_day", day.visit.key, **same).status_code == 302
    after = Visit.objects.get()
    assert (after.started_at, after.impairment_reason, after.coordinator) == (
        before.started_at, before.impairment_reason, before.coordinator,
    )  # fmt: skip
