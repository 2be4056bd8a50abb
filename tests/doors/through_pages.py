"""The day of a document pressed and typed on the pages, at the very moments that it tells."""

from datetime import datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import time_machine
from django.test import Client
from django.urls import reverse

from itm.records.models import Bottle, ProportioningTest, Reading, RestorationLine, Visit

AMOUNTS = ("concentrate_ml", "water_ml", "concentrate_g", "water_g")
UNITS = {"solution_flow": "L/min", "inlet_pressure": "bar", "level_before": "L", "level_after": "L"}


class Pages:
    """A person of the crew at a browser; each post happens at a told moment."""

    def __init__(self, client: Client, document: dict[str, Any], end: datetime) -> None:
        self.client, self.document, self.end = client, document, end
        self.now = datetime.fromisoformat(document["start"]["at"])

    def press(self, name: str, *args: Any, at: str | None = None, **data: Any) -> None:
        self.now = datetime.fromisoformat(at) if at else self.now
        with time_machine.travel(self.now, tick=False):
            answer = self.client.post(reverse(name, args=args), data)
        assert answer.status_code == 302, (name, answer.status_code, answer.content.decode()[:4000])

    def local(self, moment: str) -> str:
        """As a browser sends it: the clock of the site, without seconds."""
        there = datetime.fromisoformat(moment).astimezone(ZoneInfo("Europe/Lisbon"))
        return f"{there:%Y-%m-%dT%H:%M}"

    def work(self) -> ProportioningTest:
        visit = self._plan()
        test = self._prepare(visit)
        start = self.document["start"]
        self.press(
            "start_test_day", visit.key, at=start["at"], reason=start["reason"],
            coordinator=start["coordinator"],
        )  # fmt: skip
        for told in self.document["tests"][0]["runs"]:
            self._run(test, told)
        steps = test.flush_steps.order_by("position")
        for step, told in zip(steps, self.document["tests"][0]["flush"], strict=True):
            self.press("flush_done", step.key, at=told["done_at"])
        for told in self.document["tests"][0]["restoration"]:
            self._end(told)
        self._bench(test)
        with time_machine.travel(self.end, tick=False):
            answer = self.client.post(reverse("hand_in", args=[test.key]), {"once": uuid4()})
        assert answer.status_code == 302, answer.content.decode()[:3000]
        return ProportioningTest.objects.get(pk=test.pk)

    def _plan(self) -> Visit:
        told = self.document["visit"]
        plan = {n: told[n] for n in ("site", "planned_on", "crew", "effluent_plan")}
        self.press("visit_new", **plan)
        visit: Visit = Visit.objects.latest("pk")
        number, unit = told["ambient_c"].split()
        self.press(
            "visit_edit", visit.key, planned_on=told["planned_on"], crew=told["crew"],
            effluent_plan=told["effluent_plan"], ambient_c=number, ambient_c_unit=unit,
            weather=told["weather"],
        )  # fmt: skip
        for notice in self.document["notices"]:
            self.press(
                "notice_new", visit.key, told=notice["told"], how=notice["how"],
                reference=notice["reference"], told_at=self.local(notice["told_at"]),
            )  # fmt: skip
        return visit

    def _prepare(self, visit: Visit) -> ProportioningTest:
        test, bench = self.document["tests"][0], self.document["benches"][0]
        chosen = {n: bench[n] for n in ("instrument", "lot", "water_source", "glassware")}
        self.press(
            "test_new", visit.key, proportioner=test["proportioner"], purpose=test["purpose"],
            phase=test["phase"], flow_points=[run["flow_point"] for run in test["runs"]],
            bench="new", batch_volume_ml=bench["batch_volume_ml"], notes=test["notes"], **chosen,
        )  # fmt: skip
        made: ProportioningTest = ProportioningTest.objects.latest("pk")
        return made

    def _run(self, test: ProportioningTest, told: dict[str, Any]) -> None:
        run = test.runs.get(flow_point__key=told["flow_point"])
        typed: dict[str, str] = {"flow_source": told["flow_source"]}
        for name in UNITS:
            number, _, unit = told.get(name, "").partition(" ")
            typed |= {name: number, f"{name}_unit": unit or UNITS[name]}
        self.press("run_note", run.key, **typed)
        self.press("run_foam", run.key, at=told["foam_seen_at"])
        for sample in told["samples"]:
            self.press("run_sample", run.key, at=sample["taken_at"])

    def _end(self, told: dict[str, Any]) -> None:
        line = RestorationLine.objects.filter(text=told["text"]).latest("pk")
        if told["outcome"] != "left_out":
            self.press("line_end", line.key, at=told["ended_at"], outcome=told["outcome"])
            return
        self.press(
            "line_left_out", line.key, at=told["ended_at"], reason=told["reason"],
            handed_to=told["handed_to"], handed_at=self.local(told["handed_at"]),
        )  # fmt: skip

    def _bench(self, test: ProportioningTest) -> None:
        self.press("bench_set_out", test.key)
        if noted := conditions(self.document):
            told = self.document["benches"][0]
            kept = {name: told[name] for name in ("water_source", "glassware")}
            self.press("bench_note", test.key, **kept, **as_on_a_page(noted))
        for label, told in standards(self.document):
            bottle = test.bench.bottles.get(label=label)
            amounts = {f"{name}-{bottle.key}": told[name] for name in told if name in AMOUNTS}
            self.press("bench_volumes", test.key, **amounts)
        for label, told in readings(self.document):
            bottle: Bottle = test.bench.bottles.get(label=label)
            cell = uuid4()
            self.press(
                "bench", test.key, at=told["read_at"],
                **{
                    f"bottle-{cell}": bottle.key,
                    f"value-{cell}": told["value"],
                    f"temperature-{cell}": told["temperature"],
                },
            )  # fmt: skip
            if aside := told.get("set_aside"):
                row = Reading.objects.get(key=cell)
                self.press(
                    "reading_aside", test.key, row.key, at=aside["at"], reason=aside["reason"]
                )


def conditions(document: dict[str, Any]) -> dict[str, str]:
    """What the bench says of weighed standards."""
    bench = document["benches"][0]
    names = ("standards_by", "density", "density_at", "density_error", "density_from")
    return {name: bench[name] for name in names if name in bench}


def as_on_a_page(texts: dict[str, str]) -> dict[str, str]:
    """A page asks number and unit apart."""
    out: dict[str, str] = {}
    for name, text in texts.items():
        number, _, unit = text.partition(" ")
        out |= {name: number, f"{name}_unit": unit} if unit else {name: text}
    return out


def standards(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Label on the bench, and what is told of it."""
    return [(f"S{n}", told) for n, told in enumerate(document["benches"][0]["standards"], start=1)]


def readings(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Label of the bottle and the reading, in the order in which the bench was read."""
    bench = document["benches"][0]
    bottles = [
        *standards(document),
        *((label, bench[label.replace(" ", "_")]) for label in ("water", "water again")),
        ("concentrate", bench["concentrate"]),
        *((s["label"], s) for run in document["tests"][0]["runs"] for s in run["samples"]),
    ]
    every = [(label, told) for label, bottle in bottles for told in bottle["readings"]]
    return sorted(every, key=lambda pair: pair[1]["read_at"])
