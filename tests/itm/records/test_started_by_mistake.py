"""A start that was a mistake, on a day of direct tests: nothing may have been measured since."""

import pytest

from itm.core.durations import duration
from itm.core.errors import Refused
from itm.records import measuring
from itm.records.services import take_back_start
from tests.direct_deeds import direct_day, flow, metres, volume, weight
from tests.itm.records.test_direct import at


@pytest.mark.parametrize(
    ("method", "entered", "noted"),
    [
        ("draw_down", {"level_before": metres(1.5)}, False),
        ("draw_down", {"duration": duration("4:00")}, True),
        ("draw_down", {"level_after": metres(1.4)}, True),
        ("weighed", {"mass_before": weight(900)}, False),
        ("weighed", {"mass_after": weight(800)}, True),
        ("two_flows", {"concentrate_start": volume(0)}, False),
        ("two_flows", {"concentrate_end": volume(3328)}, True),
        ("two_flows", {"concentrate_flow": flow(30), "concentrate_source": "meter"}, True),
        ("two_flows", {"concentrate_flow": flow(30), "concentrate_source": "nameplate"}, False),
        ("two_flows", {"second_flow": flow(1000)}, True),
    ],
)
def test_a_start_is_not_taken_back_once_something_was_measured(scene, method, entered, noted):
    day = direct_day(scene, method)
    measuring.note_measured(actor=day.actor, run=at(day), **entered)
    if noted:
        with pytest.raises(Refused, match="since the start") as refused:
            take_back_start(actor=day.actor, visit=day.test.visit)
        assert refused.value.code == "begun"
    else:
        assert not take_back_start(actor=day.actor, visit=day.test.visit).impaired
