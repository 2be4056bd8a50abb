"""A phone with no signal: it makes entries, and sends them when somebody says so."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from itm.accounts.actor import Actor
from itm.doors.entries import take
from itm.doors.entry import Answer
from itm.records import bench as benches
from itm.records.models import ProportioningTest, Visit
from tests.deeds import display

MORNING = datetime(2026, 6, 15, 8, tzinfo=UTC)
PERCENT = {"minimum": "3.2", "design": "3.4"}


@dataclass
class Phone:
    """`now` is its own clock; the server's is later by `travelled`."""

    actor: Actor
    now: datetime = MORNING
    queue: list[dict[str, Any]] = field(default_factory=list)

    def note(
        self, verb: str, of: dict[str, Any] | None = None, put: dict[str, Any] | None = None,
        opened: dict[str, str] | None = None, **parts: Any,
    ) -> dict[str, Any]:  # fmt: skip
        """One more entry in the queue, half a minute after the last."""
        self.now += timedelta(seconds=30)
        raw = {
            "key": str(parts.pop("key", uuid4())),
            "verb": verb,
            "of": {name: str(key) for name, key in (of or {}).items()},
            "put": put or {},
            "at": self.now.isoformat(),
            **parts,
        }
        if opened is not None:
            raw["opened"] = opened
        self.queue.append(raw)
        return raw

    def send(
        self, entries: Iterable[dict[str, Any]] | None = None, *, ahead: timedelta = timedelta(0)
    ) -> list[Answer]:
        """All of the queue, or these; the server's clock is this phone's less `ahead`."""
        raws = list(self.queue if entries is None else entries)
        return take(
            actor=self.actor, entries=raws, device_now=self.now, at=self.now - ahead
        )  # fmt: skip

    def say(self, *args: Any, **parts: Any) -> Answer:
        """Note one entry and send it alone."""
        raw = self.note(*args, **parts)
        self.queue.remove(raw)
        [answer] = self.send([raw])
        return answer


def whole_day(
    phone: Phone, test: ProportioningTest, percent: dict[str, str] = PERCENT
) -> list[dict[str, Any]]:
    """Everything from the first valve to the hand-in, in the order of the crew."""
    phone.queue.clear()
    visit: Visit = test.visit
    phone.note(
        "note_visit", {"visit": visit.key},
        {"crew": "A crew of two", "ambient_c": "12 °C", "weather": "dry, light wind"},
    )  # fmt: skip
    phone.note(
        "add_notice", {"visit": visit.key},
        {"told": "Monitoring company", "how": "by telephone", "reference": "C-118"},
    )  # fmt: skip
    phone.note(
        "start_test_day", {"visit": visit.key},
        {"reason": "annual proportioning test", "coordinator": "the owner's duty engineer"},
    )  # fmt: skip
    samples = [
        sample
        for run in test.runs.select_related("flow_point")
        for sample in _discharge(phone, run, percent[run.flow_point.name])
    ]
    for step in test.flush_steps.order_by("position"):
        phone.note("flush_done", {"step": step.key})
    for line in visit.restoration_lines.order_by("position"):
        phone.note("end_line", {"line": line.key}, {"outcome": "restored"})
    _bench(phone, test, samples)
    phone.note("hand_in", {"test": test.key})
    return list(phone.queue)


def _discharge(phone: Phone, run: Any, percent: str) -> list[tuple[UUID, str]]:
    flow = run.flow_point.flow_typed.split()[0]
    phone.note(
        "note_run", {"run": run.key},
        {"solution_flow": f"{flow} L/min", "flow_source": "meter", "inlet_pressure": "7.5 bar"},
    )  # fmt: skip
    phone.note("foam_seen", {"run": run.key})
    phone.now += timedelta(seconds=10)
    caught = []
    for number in (1, 2, 3):
        label = f"{run.flow_point.name} {number}"
        made = phone.note("add_sample", {"run": run.key}, {"label": label})
        caught.append((UUID(made["key"]), percent))
    return caught


def _bench(phone: Phone, test: ProportioningTest, samples: list[tuple[UUID, str]]) -> None:
    """Standards as their recipe says, every bottle read once, the water once more not at all."""
    resolution = test.bench.instrument.resolution
    planned = benches.to_set_out(test)
    phone.note("set_out_bench", {"test": test.key})
    for bottle in planned:
        if bottle.target_percent is not None:
            concentrate = test.bench.batch_volume_ml * bottle.target_percent / 100
            poured = (f"{concentrate:.1f}", f"{test.bench.batch_volume_ml - concentrate:.1f}")
            phone.note(
                "set_volumes", {"bottle": bottle.key},
                {"concentrate_ml": poured[0], "water_ml": poured[1]},
            )  # fmt: skip
    strength = {"water": "0", "concentrate": "100"}
    to_read = [
        (bottle.key, strength.get(bottle.role) or str(bottle.target_percent))
        for bottle in planned
        if bottle.role != "water_again"
    ]
    for key, percent in to_read + samples:
        shown = display(percent, resolution)
        phone.note("add_reading", {"bottle": key}, {"value": shown, "temperature": "20.0"})


def states(answers: list[Answer]) -> set[str]:
    return {answer.state for answer in answers}


def run_of(draft, name="design"):
    return draft.runs.get(flow_point__name=name)


def started(phone: Phone, draft: ProportioningTest) -> None:
    put = {"reason": "proportioning test", "coordinator": "the owner"}
    assert phone.say("start_test_day", {"visit": draft.visit.key}, put).taken
