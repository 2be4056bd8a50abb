"""Since when work counts, where older papers report it. The project's own rule."""

from datetime import date
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from itm.schedule.chains import Segment, chained
from itm.schedule.due import Result, Window
from itm.schedule.history import ANY_ROW, Done, History
from itm.schedule.models import Requirement
from itm.schedule.things import Thing
from tests.itm.schedule.test_deriving import adopt, duties, run

Task = Requirement.Task


def thing(begun: date | None, link: str = "proportioner") -> Thing:
    row: Any = SimpleNamespace(pk=7)
    return Thing(row, link, frozenset(), begun)  # type: ignore[arg-type]


def of_days(*days: date) -> list[Result]:
    return [Result(day, "in band", "settled", "periodic", "as_found", uuid4()) for day in days]


def checked_on(*days: date) -> list[Done]:
    return [Done(("tank", 7), ANY_ROW, Task.CONCENTRATE_CHECK, day, uuid4()) for day in days]


COMMISSIONED = date(2018, 3, 1)
YEARLY = Window(9, 12, 15)


def counts_from(papers: list[date], records: tuple[date, ...], link: str) -> date:
    task = Task.PROPORTIONING_TEST if link == "proportioner" else Task.CONCENTRATE_CHECK
    history = (
        History(tests={7: of_days(*records)}) if link == "proportioner"
        else History(done=checked_on(*records))
    )  # fmt: skip
    history.reported[(link, 7), ANY_ROW] = papers
    on = thing(COMMISSIONED, link)
    held = history.papers(on, ("any", "row"), task)
    results = history.results(on, ("any", "row"), task)
    rule = [Segment(date.min, "rule", YEARLY)]
    made = chained(rule, COMMISSIONED, results, papers=held, from_adoption=False)
    return made[0][1].counts_from


@pytest.mark.parametrize("link", ["proportioner", "tank"])
@pytest.mark.parametrize(
    ("reported", "records", "since"),
    [
        ([], (), COMMISSIONED),
        ([date(2012, 5, 1)], (), COMMISSIONED),  # older than what stands there now
        ([date(2019, 5, 1), date(2021, 5, 1)], (), date(2021, 5, 1)),
        ([date(2019, 5, 1)], (date(2020, 5, 1),), date(2019, 5, 1)),
        # A paper among records is none: it would wipe out the cycles before it.
        ([date(2019, 5, 1), date(2022, 5, 1)], (date(2020, 5, 1),), date(2019, 5, 1)),
    ],
)
def test_the_newest_paper_before_the_first_record_counts(reported, records, since, link):
    assert counts_from(reported, records, link) == since


def test_papers_of_one_thing_say_nothing_of_another():
    history = History(reported={(("proportioner", 7), ANY_ROW): [date(2021, 5, 1)]})
    assert history.papers(thing(COMMISSIONED, "tank"), ANY_ROW, Task.CONCENTRATE_CHECK) == []
    assert history.papers(thing(COMMISSIONED), ("a", "b"), Task.INSPECTION) == []


def test_a_paper_from_before_the_adoption_is_where_the_first_cycle_counts_from():
    """As an inspection that was recorded before a row was adopted is."""
    rule = [Segment(date(2024, 1, 1), "rule", YEARLY)]
    [(_, none)] = chained(rule, COMMISSIONED, [], from_adoption=True)
    [(_, before)] = chained(rule, COMMISSIONED, [], papers=[date(2023, 6, 1)], from_adoption=True)
    [(_, after)] = chained(
        rule, COMMISSIONED, [], papers=[date(2023, 6, 1), date(2025, 2, 1)], from_adoption=True
    )
    assert (none.counts_from, before.counts_from, after.counts_from) == (
        date(2024, 1, 1), date(2023, 6, 1), date(2025, 2, 1),
    )  # fmt: skip


def test_a_paper_of_a_test_moves_no_other_task_of_its_device(scene):
    """Looked at every month since January, which a test of May does not begin anew."""
    adopt(scene, "N25-04")
    device = scene.proportioner
    run(scene)
    before = [(duty.counts_from, duty.latest_on) for duty in duties("N25-04")]
    run(scene, History(reported={(("proportioner", device.pk), ANY_ROW): [date(2026, 5, 12)]}))
    assert [(duty.counts_from, duty.latest_on) for duty in duties("N25-04")] == before
