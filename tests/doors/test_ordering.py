"""Moments that cannot have followed each other are said, with both, and nothing is refused.

The order itself, start, foam, sample, stop, reading, is that of any discharge test (common
practice, no published source).
"""

from datetime import UTC, datetime, timedelta

import pytest

from itm.records.circumstances import circumstances
from itm.records.loading import whole
from itm.records.models import Bottle
from itm.records.ordering import foam_order, sample_order, stopped_at
from tests.doors.phone import Phone, states, whole_day

AT = datetime(2026, 6, 15, 9, tzinfo=UTC)
MINUTES = timedelta(minutes=1)


def of_sample(taken, **other):
    known = {"started_at": AT, "stopped_at": None, "read_at": [], "zone": "UTC"} | other
    return sample_order(taken, **known)


def test_foam_before_the_first_valve_or_months_after_it():
    assert "before the first valve" in foam_order(AT, AT - 20 * MINUTES, "UTC")
    assert "90 days after" in foam_order(AT, AT + timedelta(days=90), "UTC")
    assert foam_order(AT, AT + 20 * MINUTES, "UTC") == ""
    assert foam_order(None, AT, "UTC") == ""


@pytest.mark.parametrize("early", [timedelta(hours=3), timedelta(days=4)])
def test_a_sample_that_was_read_before_it_was_caught(early):
    said = of_sample(AT + 10 * MINUTES, read_at=[AT + 10 * MINUTES - early])
    assert "was read at" in said
    assert "15 Jun 2026 09:10" in said


def test_a_sample_after_the_stop_or_before_the_start():
    assert "after stopping" in of_sample(AT + 20 * MINUTES, stopped_at=AT + 5 * MINUTES)
    assert "before the first valve" in of_sample(AT - 20 * MINUTES)


def test_times_on_paper_agree_to_a_minute():
    """Written to the minute, a sample at 9:05:40 and a stop at 9:05 are in order."""
    assert of_sample(AT + 5.6 * MINUTES, stopped_at=AT + 5 * MINUTES) == ""
    assert of_sample(None) == ""


def test_the_stop_is_the_first_step_that_was_done():
    assert stopped_at([None, AT + MINUTES, AT]) == AT
    assert stopped_at([None]) is None


def test_the_record_keeps_what_is_out_of_order(scene, draft):
    """Past midnight a sheet is typed in under the day before: readings 24 h too early."""
    phone = Phone(scene.contractor)
    raws = whole_day(phone, draft)
    for raw in raws:
        if raw["verb"] == "add_reading":
            raw["at"] = (datetime.fromisoformat(raw["at"]) - timedelta(days=1)).isoformat()
    assert states(phone.send(raws)) == {"taken"}
    where = {one.where for one in circumstances(whole(draft.pk)) if "was read at" in one.text}
    labels = Bottle.objects.filter(role="sample").values_list("label", flat=True)
    assert where == set(labels)
