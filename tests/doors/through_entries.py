"""The day of a document as entries of a device, with or without its readings."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from itm.doors.entries import take
from itm.records.bench import to_set_out
from itm.records.models import ProportioningTest
from tests.doors.through_pages import AMOUNTS, conditions, readings, standards

NOTICE = ("told", "how", "reference")
RUN = ("inlet_pressure", "solution_flow", "flow_source", "level_before", "level_after")


class Device:
    """Sends entry by entry or in any parts; what it plans has its key before there is an answer."""

    def __init__(self, actor: Any, document: dict[str, Any], end: datetime) -> None:
        self.actor, self.document, self.end = actor, document, end

    def prepare(self) -> ProportioningTest:
        """At home, with signal."""
        day, [test], [bench] = (self.document[name] for name in ("visit", "tests", "benches"))
        start = self.document["start"]["at"]
        plan = entry(
            "plan_visit", {}, start,
            {n: day[n] for n in ("site", "planned_on", "crew", "effluent_plan")},
        )  # fmt: skip
        visit = {"visit": plan["key"]}
        prepare = entry(
            "prepare_test", visit, start,
            {
                **{n: test[n] for n in ("proportioner", "purpose", "phase", "notes")},
                **{n: bench[n] for n in ("instrument", "lot", "water_source", "glassware")},
                "flow_points": [run["flow_point"] for run in test["runs"]],
                "batch_volume_ml": bench["batch_volume_ml"],
            },
        )  # fmt: skip
        notes = {n: day[n] for n in ("ambient_c", "weather")}
        self.send([plan, entry("note_visit", visit, start, notes), prepare])
        return ProportioningTest.objects.get(key=prepare["key"])

    def send(self, entries: list[dict[str, Any]]) -> None:
        answers = take(actor=self.actor, entries=entries, device_now=self.end, at=self.end)
        assert [a for a in answers if not a.taken] == []

    def field(self, test: ProportioningTest) -> list[dict[str, Any]]:
        """Everything at the place, up to the bottles that stand on the bench."""
        [told], start = self.document["tests"], self.document["start"]
        visit = {"visit": test.visit.key}
        out = [
            entry(
                "add_notice", visit, n["told_at"], {k: n[k] for k in ("told", "how", "reference")}
            )
            for n in self.document["notices"]
        ]
        why = {n: start[n] for n in ("reason", "coordinator")}
        out.append(entry("start_test_day", visit, start["at"], why))
        for run_told in told["runs"]:
            run = {"run": test.runs.get(flow_point__key=run_told["flow_point"]).key}
            put = {n: run_told[n] for n in RUN if n in run_told}
            out.append(entry("note_run", run, run_told["foam_seen_at"], put))
            out.append(entry("foam_seen", run, run_told["foam_seen_at"]))
            out += [
                entry("add_sample", run, s["taken_at"], {"label": s["label"]})
                for s in run_told["samples"]
            ]
        for step, flush in zip(test.flush_steps.order_by("position"), told["flush"], strict=True):
            out.append(entry("flush_done", {"step": step.key}, flush["done_at"]))
        lines = {line.text: line.key for line in test.visit.restoration_lines.all()}
        for line in told["restoration"]:
            put = {n: v for n, v in line.items() if n not in ("text", "ended_at")}
            out.append(entry("end_line", {"line": lines[line["text"]]}, line["ended_at"], put))
        return out + self._set_out(test)

    def _set_out(self, test: ProportioningTest) -> list[dict[str, Any]]:
        at = self.document["tests"][0]["restoration"][-1]["ended_at"]
        keys = {bottle.label: bottle.key for bottle in to_set_out(test)}
        out = [entry("set_out_bench", {"test": test.key}, at)]
        if noted := conditions(self.document):
            out.append(entry("note_bench", {"test": test.key}, at, noted))
        for label, told in standards(self.document):
            put = {n: told[n] for n in told if n in AMOUNTS}
            if not put:  # said by another door
                continue
            verb = "set_volumes" if "water_ml" in put else "set_masses"
            out.append(entry(verb, {"bottle": keys[label]}, at, put))
        return out

    def bench(self, test: ProportioningTest, field: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Every reading; the bottles have their keys before anybody has answered."""
        keys = {bottle.label: bottle.key for bottle in to_set_out(test)}
        keys |= {
            raw["put"]["label"]: UUID(raw["key"]) for raw in field if raw["verb"] == "add_sample"
        }
        out = []
        for label, told in readings(self.document):
            put = {n: told[n] for n in ("value", "temperature")}
            made = entry("add_reading", {"bottle": keys[label]}, told["read_at"], put)
            out.append(made)
            if aside := told.get("set_aside"):
                reading = {"reading": made["key"]}
                out.append(entry("set_aside", reading, aside["at"], {"reason": aside["reason"]}))
        return out


def entry(
    verb: str, of: dict[str, Any], at: str, put: dict[str, Any] | None = None
) -> dict[str, Any]:
    return {
        "key": str(uuid4()),
        "verb": verb,
        "of": {name: str(key) for name, key in of.items()},
        "put": put or {},
        "at": at,
    }
