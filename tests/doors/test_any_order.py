"""Whatever comes first, in whatever parts, how often soever: the same record comes of it.

A law over random orders: what waits is sent again, as a device does, until everything is taken.
Only two numbers tell how things arrived: `sequence` of a reading and `position` of a sample.
"""

from datetime import UTC, datetime
from random import Random
from typing import Any

import pytest

from itm.core.history import Change
from itm.doors.entries import take
from itm.records.models import ProportioningTest
from tests.doors.canonical import handed_in, same
from tests.doors.documents import day_document
from tests.doors.through_entries import Device, entry

EVENING = datetime(2026, 6, 15, 18, tzinfo=UTC)
ARRIVAL = ("sequence", "position")
PATIENCE = 40  # times that a device tries again


def prepared(scene: Any) -> tuple[ProportioningTest, list[dict[str, Any]]]:
    device = Device(scene.contractor, day_document(scene), EVENING)
    test = device.prepare()
    field = device.field(test)
    return test, [*field, *device.bench(test, field)]


def send(scene: Any, entries: list[dict[str, Any]]) -> list[Any]:
    return take(actor=scene.contractor, entries=entries, device_now=EVENING, at=EVENING)


def finished(scene: Any, test: ProportioningTest) -> dict[str, Any]:
    [answer] = send(scene, [entry("hand_in", {"test": test.key}, EVENING.isoformat())])
    assert answer.state == "taken", answer
    return handed_in(test)


def parts(chance: Random, entries: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Cut anywhere, some parts sent twice over."""
    out = []
    while entries:
        size = chance.randint(1, 25)
        part, entries = entries[:size], entries[size:]
        out += [part] * chance.choice((1, 1, 2))
    return out


@pytest.mark.parametrize("seed", range(5))
def test_any_order_any_parts_any_repetition_give_the_same_record(scene, seed):
    test, entries = prepared(scene)
    assert all(answer.state == "taken" for answer in send(scene, entries))
    expected = finished(scene, test)

    chance = Random(seed)
    test, entries = prepared(scene)
    left, tries = list(entries), 0
    while left:
        chance.shuffle(left)
        answers = [answer for part in parts(chance, left) for answer in send(scene, part)]
        assert {(a.state, a.code) for a in answers if not a.taken} <= {("refused", "waits")}
        taken = {answer.key for answer in answers if answer.taken}
        left = [raw for raw in left if raw["key"] not in taken]
        tries += 1
        assert tries < PATIENCE
    found = finished(scene, test)
    assert same(found, scene, without=ARRIVAL) == same(expected, scene, without=ARRIVAL)
    assert found["evaluation"]["inputs_digest"] == expected["evaluation"]["inputs_digest"]


def test_everything_again_changes_nothing(scene):
    _, entries = prepared(scene)
    first = send(scene, entries)
    noted = Change.objects.count()
    backwards = send(scene, entries[::-1])[::-1]
    assert {answer.state for answer in backwards} == {"taken_before"}
    assert [answer.now for answer in backwards] == [answer.now for answer in first]
    assert Change.objects.count() == noted
