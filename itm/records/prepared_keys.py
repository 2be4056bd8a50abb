"""Keys of a test and of all that Prepare lays for it, which follow from what it is.

A test may be begun with no signal, and two phones may begin the same one. So nothing of it has a
key by chance: what was noted at a flow point, ticked or read hangs on the same rows wherever it was
begun. `begun.js` of field capture works out the same keys.
"""

import uuid
from collections import Counter
from collections.abc import Iterable

from itm.records.models import ProportioningTest, Visit
from itm.registry.models import FlowPoint, Proportioner


def test_key(
    visit: Visit, device: Proportioner, *, phase: str, method: str, read_with: str
) -> uuid.UUID:
    """`read_with` says what its figures hang on, as `with_meter` and `with_bench` word it: readings
    of another meter, or standards of another lot, are another test, and no device merges them."""
    return begun_key(
        visit.key, device.key, phase, method, read_with,
        before=given_up(visit.tests.all()).get((device.pk, phase, method), 0),
    )  # fmt: skip


def begun_key(
    visit: uuid.UUID, device: uuid.UUID, phase: str, method: str, read_with: str, *, before: int
) -> uuid.UUID:
    """`before`: how many tests of the same were given up, so that the next is another one."""
    return uuid.uuid5(visit, f"{phase} of {device} by {method}, {read_with}, {before} before")


def given_up(tests: Iterable[ProportioningTest]) -> Counter[tuple[int, str, str]]:
    """By proportioner, phase and method."""
    return Counter(
        (test.proportioner_id, test.phase, test.method)
        for test in tests
        if test.state == ProportioningTest.State.ABANDONED and test.amends_id is None
    )


def with_meter(instrument: uuid.UUID, lot: uuid.UUID | None) -> str:
    return f"meter {instrument} and lot {lot or 'unknown'}"


def with_bench(bench: uuid.UUID) -> str:
    return f"bench {bench}"


def bench_key(test: uuid.UUID) -> uuid.UUID:
    """The bench that is opened together with a test."""
    return uuid.uuid5(test, "bench")


def run_key(test: uuid.UUID, flow_point: FlowPoint) -> uuid.UUID:
    return uuid.uuid5(test, f"run of {flow_point.key}")


def step_keys(test: uuid.UUID, texts: Iterable[str]) -> list[uuid.UUID]:
    return _by_text(test, "step", texts)


def line_keys(visit: uuid.UUID, device: uuid.UUID, texts: Iterable[str]) -> list[uuid.UUID]:
    """Of the restoration list of one proportioner on one visit."""
    return _by_text(visit, f"line of {device}", texts)


def _by_text(parent: uuid.UUID, what: str, texts: Iterable[str]) -> list[uuid.UUID]:
    """By what a line says and not by its place: where the list has changed since a device read it,
    a tick is never taken for another valve."""
    seen: Counter[str] = Counter()
    keys = []
    for text in texts:
        seen[text] += 1
        keys.append(uuid.uuid5(parent, f"{what} {seen[text]}: {text}"))
    return keys
