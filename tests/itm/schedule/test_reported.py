"""Since when a device counts, where older papers report tests. The project's own rule."""

from datetime import date
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from itm.schedule.due import Result
from itm.schedule.history import History
from itm.schedule.things import Thing


def thing(begun: date | None, link: str = "proportioner") -> Thing:
    row: Any = SimpleNamespace(pk=7)
    return Thing(row, link, frozenset(), begun)  # type: ignore[arg-type]


def sealed_on(*days: date) -> dict[int, list[Result]]:
    return {7: [Result(day, "in band", "settled", "periodic", "as_found", uuid4()) for day in days]}


COMMISSIONED = date(2018, 3, 1)


@pytest.mark.parametrize(
    ("reported", "records", "begun"),
    [
        ([], (), COMMISSIONED),
        ([date(2012, 5, 1)], (), COMMISSIONED),  # older than what stands there now
        ([date(2019, 5, 1), date(2021, 5, 1)], (), date(2021, 5, 1)),
        ([date(2019, 5, 1)], (date(2020, 5, 1),), date(2019, 5, 1)),
        # A paper among records is none: it would wipe out the cycles before it.
        ([date(2019, 5, 1), date(2022, 5, 1)], (date(2020, 5, 1),), date(2019, 5, 1)),
    ],
)
def test_the_newest_paper_before_the_first_record_counts(reported, records, begun):
    history = History(tests=sealed_on(*records), reported={7: reported})
    assert history.begun(thing(COMMISSIONED)) == begun


def test_papers_of_a_proportioner_say_nothing_of_a_tank_or_of_what_serves_nothing():
    history = History(reported={7: [date(2021, 5, 1)]})
    assert history.begun(thing(COMMISSIONED, "tank")) == COMMISSIONED
    assert history.begun(thing(None)) is None
