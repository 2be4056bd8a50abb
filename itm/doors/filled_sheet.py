"""A filled field sheet on its way in: one line of the sheet is one entry, as a device makes them.

The lines come from the same object that the blank sheet was printed from (`day.day_of`), in the
sheet's order. What is typed becomes entries (`entries.take`), each of which is taken or handed back
by itself; a line that was handed back keeps every character and its key, so that sending the page
again is harmless. What somebody else wrote meanwhile is merged field by field, and where both wrote
in the same field, both are shown.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from calc import units
from itm.core.errors import Refused
from itm.core.measures import LENGTH, TEMPERATURE, own_first
from itm.core.quantities import apart
from itm.doors.sample_labels import SAMPLES, SYSTEM_WATER, stem_in
from itm.doors.sheet_effluent import effluent_lines
from itm.doors.sheet_lines import (
    AT,
    Box,
    Line,
    Part,
    asked_boxes,
    ditto,
    is_key,
    joined,
    moment,
    texts,
)
from itm.doors.verbs import VERBS
from itm.records.direct_forms import DENSITY
from itm.records.labels import labels_from
from itm.records.models import Bench, RestorationLine
from itm.records.weighing import MASSES, UNIT, VOLUMES

ASKED_FOR_UNITS = (LENGTH, units.MASS, DENSITY)
READINGS = 2
NOTICES = 8  # as on the blank sheet
WHO = Box("by", "by, where it was another")
Posted = Mapping[str, str]


@dataclass
class Sheet:
    """The lines of a day with what was typed over them."""

    day: dict[str, Any]
    posted: Posted = field(default_factory=dict)
    made: dict[tuple[str, str], list[str]] = field(default_factory=dict)  # keys of new lines

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.day["visit"]["site"]["time_zone"])

    def parts(self) -> list[Part]:
        day = self.day
        out = [Part("1. Before", tuple(self._before()))]
        remarks: list[Line] = []
        for test in [*day["tests"], *day["direct_tests"]]:
            if test["state"] != "draft":
                continue
            name = f"{test['system']}, {test['tag']}, {test['phase_label']}"
            if not test["bench"]:  # several methods of one day are tests of their own
                name = f"{name}, {test['method_label']}"
                out.append(Part(f"2. Measured with, {name}", (self._setup(test),)))
            for run in test["runs"]:
                title = f"2. Discharge, {name}: {run['name']}, planned {run['flow_typed']}"
                out.append(Part(title, tuple(self._run(test, run))))
            steps = tuple(self._steps(test))
            out.append(Part(f"3. Stop and flush, {name}", steps))
            said = [Box("notes", "as on the sheet", test["notes"])]
            of = {"test": test["key"]}
            remarks.append(self.line("note_test", of, f"Remarks, {name}", said))
        out.append(Part("4. Put back", tuple(self._put_back())))
        for bench in day["benches"]:
            title = f"5. Bench: {bench['instrument']['name']}"
            lines = () if bench["closed"] else tuple(self._bench(bench))
            out.append(Part(title, lines, bench["closed"]))
        out.append(Part("6. Effluent", tuple(effluent_lines(self))))
        out.append(Part("7. Remarks", tuple(remarks)))
        return [part for part in out if part.lines or part.note]

    # Lines -------------------------------------------------------------------------------------

    def _before(self) -> Iterator[Line]:
        visit = self.day["visit"]
        of = {"visit": visit["key"]}
        if not visit["closed"]:
            yield self.line(
                "note_visit", of, "The day",
                [
                    Box("crew", "crew", visit["crew"]),
                    Box(
                        "ambient_c", "air temperature", visit["ambient_c"], units=TEMPERATURE
                    ),
                    Box("weather", "weather", visit["weather"]),
                    Box("effluent_plan", "foam goes to", visit["effluent_plan"]),
                ],
            )  # fmt: skip
            for key in self.keys("add_notice", visit["key"], NOTICES):
                boxes = [Box("told", "told"), Box("how", "how"), Box("reference", "number"), WHO]
                yield self.line("add_notice", of, "Told", boxes, key=key, timed=True)
        begun = visit["started_at"]
        said = f"started {self._clock(begun)}, {visit['started_by']}" if begun else ""
        boxes = [Box("reason", "why out of service"), Box("coordinator", "coordinator")]
        yield self.line("start_test_day", of, "First valve moved", boxes, timed=True, done=said)

    def _setup(self, test: dict[str, Any]) -> Line:
        asked = self.day["direct_asked"][test["method"]]["note_setup"]
        boxes = asked_boxes(asked, test["setup"])
        return self.line("note_setup", {"test": test["key"]}, "For all flow points", boxes)

    def _run(self, test: dict[str, Any], run: dict[str, Any]) -> Iterator[Line]:
        of = {"run": run["key"]}
        sources = [("", "–"), *((value, words) for value, words in self.day["flow_sources"])]
        boxes = [
            Box("inlet_pressure", "inlet pressure", run["inlet_pressure"], units=units.PRESSURE),
            Box("solution_flow", "solution flow", run["solution_flow"], units=units.FLOW),
            Box("flow_source", "flow taken from", run["flow_source"], choices=sources),
            Box(
                "outlets",
                "or read by pitot, a line an outlet: diameter; coefficient; pressure",
                joined(run["outlets"]),
                listed=True,
            ),
            Box("level_before", "in the tank before", run["level_before"], units=units.VOLUME),
            Box("level_after", "in the tank after", run["level_after"], units=units.VOLUME),
        ]
        yield self.line("note_run", of, "Measured", boxes)
        seen = run["foam_seen_at"]
        said = f"seen {self._clock(seen)}" if seen else ""
        yield self.line("foam_seen", of, "Foam seen", [], timed=True, done=said)
        if not test["bench"]:
            asked = self.day["direct_asked"][test["method"]]["note_measured"]
            boxes = asked_boxes(asked, test["measured"][run["key"]])
            yield self.line("note_measured", of, "Read while it flows", boxes)
            return
        labels = self._labels(run)
        for bottle in self._samples(run):
            said = f"taken {self._clock(bottle['taken_at'])}"
            yield Line("add_sample", of, bottle["key"], f"Sample {bottle['label']}", done=said)
        for key in self.keys("add_sample", run["key"], max(1, SAMPLES - len(labels))):
            label = self._next(test, run, labels)
            boxes = [Box("label", "label on the bottle", label)]
            yield self.line("add_sample", of, "Sample", boxes, key=key, timed=True)

    def _steps(self, test: dict[str, Any]) -> Iterator[Line]:
        for number, step in enumerate(test["flush"], 1):
            said = f"{self._clock(step['done_at'])}, {step['done_by']}" if step["done_at"] else ""
            yield self.line(
                "flush_done", {"step": step["key"]}, f"{number}. {step['text']}", [WHO],
                timed=True, done=said,
            )  # fmt: skip

    def _put_back(self) -> Iterator[Line]:
        choices = [("", "–"), *((o.value, o.label) for o in RestorationLine.Outcome if o.value)]
        for one in self.day["restoration"]:
            head = f"{one['tag']}: {one['text']}"
            of, said = {"line": one["key"]}, ""
            if one["outcome"]:
                said = f"{one['outcome_label']} {self._clock(one['ended_at'])}, {one['ended_by']}"
            boxes = [
                Box("outcome", "how it ended", choices=choices),
                Box("reason", "left out: why"),
                Box("handed_to", "left out: handed over to"),
                Box("handed_at", "left out: handed over at"),
                WHO,
            ]
            yield self.line("end_line", of, head, boxes, timed=True, done=said)

    def _bench(self, bench: dict[str, Any]) -> Iterator[Line]:
        standing = [one for one in bench["bottles"] if not one["withdrawn_reason"]]
        test = next(t for t in self.day["tests"] if t["bench"] == bench["key"])
        boxes = [
            Box("water_source", "water caught at", bench["water_source"]),
            Box("glassware", "measured with", bench["glassware"]),
            *asked_boxes(bench["asked"], bench),
        ]
        yield self.line("note_bench", {"test": test["key"]}, "How it is read", boxes)
        for one in standing:
            if one["role"] == "standard":
                yield from self._amounts(bench, one)
        order = ("water", "system_water", "standard", "sample", "concentrate", "water_again")
        for role in order:
            there = [one for one in standing if one["role"] == role]
            for one in there:
                yield from self._readings(bench, one["key"], one["label"], one["readings"])
            if role == "system_water" and not there:  # its key is known before it stands
                yield from self._readings(bench, bench["system_water"], SYSTEM_WATER, [])
            if role == "sample":
                for key, label in self._new_samples(bench):
                    yield from self._readings(bench, key, label, [])

    def _amounts(self, bench: dict[str, Any], one: dict[str, Any]) -> Iterator[Line]:
        """As it was begun, else as the bench says; where it says nothing, either way."""
        begun = [pair for pair in UNIT if any(one[name] for name in pair)]
        weighed = bench["standards_by"] == Bench.StandardsBy.MASS
        for pair in begun or ((MASSES,) if weighed else tuple(UNIT)):
            unit, made = UNIT[pair], one["recipe" if pair == VOLUMES else "grams"]
            told = f", recipe {made['concentrate']} + {made['water']} {unit}" if made else ""
            verb, how = ("set_volumes", "poured") if pair == VOLUMES else ("set_masses", "weighed")
            boxes = [
                Box(name, f"{what}, {unit}", one[name])
                for name, what in zip(pair, ("concentrate", "water"), strict=True)
            ]
            yield self.line(verb, {"bottle": one["key"]}, f"{one['label']} {how}{told}", boxes)

    def _readings(
        self, bench: dict[str, Any], bottle: str, label: str, read: Sequence[dict[str, Any]]
    ) -> Iterator[Line]:
        of = {"bottle": bottle}
        for one in read:
            warm = f" at {one['temperature']} °C" if one["temperature"] else ""
            aside = f", set aside: {one['set_aside_reason']}" if one["set_aside_reason"] else ""
            yield Line("add_reading", of, one["key"], label, done=f"{one['value']}{warm}{aside}")
        unit = bench["fields"]["value"]["unit"] or "nD"
        for key in self.keys("add_reading", bottle, max(1, READINGS - len(read))):
            boxes = [
                Box("value", f"{bench['fields']['value']['name']}, {unit}"),
                Box("temperature", "°C"),
            ]
            yield self.line("add_reading", of, label, boxes, key=key, timed=True)

    # What stands, and what was typed -----------------------------------------------------------

    def _samples(self, run: dict[str, Any]) -> list[dict[str, Any]]:
        bottles = [one for bench in self.day["benches"] for one in bench["bottles"]]
        return [
            one for one in bottles if one["run"] == run["key"] and not one["withdrawn_reason"]
        ]  # fmt: skip

    def _labels(self, run: dict[str, Any]) -> list[str]:
        return [bottle["label"] for bottle in self._samples(run)]

    def _next(self, test: dict[str, Any], run: dict[str, Any], labels: list[str]) -> str:
        """The label of the next printed one; each line of the page has its own."""
        bench = next(one for one in self.day["benches"] if one["key"] == test["bench"])
        used = {one["label"] for one in bench["bottles"]} | set(labels)
        label = next(labels_from(stem_in(bench, test, run), used))
        labels.append(label)
        return label

    def _new_samples(self, bench: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Samples that are only typed here so far, so that their readings can be typed as well."""
        for test in self.day["tests"]:
            if test["bench"] != bench["key"] or test["state"] != "draft":
                continue
            for run in test["runs"]:
                labels = self._labels(run)
                count = max(1, SAMPLES - len(labels))
                for key in self.keys("add_sample", run["key"], count):
                    label = self._next(test, run, labels)
                    yield key, self.posted.get(f"add_sample.{key}.label", label) or label

    def keys(self, verb: str, parent: str, count: int) -> list[str]:
        """Keys of new lines under a row: those of the page that came back, then fresh ones.

        A key whose entry was taken is a row of the day by now, and no new line any more.
        """
        if (verb, parent) not in self.made:
            there = self._rows()
            back = [
                name.split(".")[1]
                for name, value in self.posted.items()
                if name.startswith(f"{verb}.") and name.endswith(".on") and value == parent
            ]
            keys = [key for key in back if is_key(key) and key not in there]
            fresh = [str(uuid4()) for _ in range(count - len(keys))]
            self.made[verb, parent] = keys + fresh
        return self.made[verb, parent]

    def _rows(self) -> set[str]:
        bottles = [one for bench in self.day["benches"] for one in bench["bottles"]]
        return {
            *(one["key"] for one in self.day["notices"]),
            *(one["key"] for one in self.day["effluent"]),
            *(one["key"] for one in bottles if one["set_out"]),
            *(reading["key"] for one in bottles for reading in one["readings"]),
        }

    def line(
        self, verb: str, of: Mapping[str, str], head: str, boxes: Sequence[Box], *, key: str = "",
        timed: bool = False, done: str = "",
    ) -> Line:  # fmt: skip
        line = Line(verb, of, key or str(uuid4()), head, tuple(boxes), timed, done=done)
        if done and not self._typed(line):
            return line
        merges = VERBS[verb].merges
        filled = []
        for box in boxes:
            name = f"{line.name}.{box.name}"
            # 1.62 is a level in m and hardly one in mm, and 180 a weight in kg or in lb: those are
            # asked for their unit.
            asks = any(box.units is one for one in ASKED_FOR_UNITS)
            unit = own_first(box.units) if box.units and not asks else ""
            stands = self.posted.get(f"{name}.was", box.stands) if merges else box.stands
            typed = self.posted.get(name, box.stands)
            if box.listed:  # a browser ends lines in its own way
                stands, typed = joined(texts(stands)), joined(texts(typed))
            filled.append(replace(box, stands=stands, typed=typed, unit=unit))
        kept = self.posted.get(f"{line.name}.key", "")
        return replace(
            line,
            done="",
            boxes=tuple(filled),
            key=kept if is_key(kept) else line.key,
            at=self.posted.get(f"{line.name}.{AT}", "").strip(),
        )

    def _typed(self, line: Line) -> bool:
        """Somebody else did it meanwhile, and it was typed here as well: that is not dropped in
        silence, the service says what stands."""
        names = [AT, *(box.name for box in line.boxes)]
        return any(self.posted.get(f"{line.name}.{name}", "").strip() for name in names)

    def _clock(self, at: str | None) -> str:
        return f"{datetime.fromisoformat(at).astimezone(self.zone):%H:%M:%S}" if at else ""

    # Entries -----------------------------------------------------------------------------------

    def entries(
        self, on: date, now: datetime | None = None
    ) -> tuple[list[dict[str, Any]], dict[str, str]]:
        """What was typed as entries in the sheet's order, and by name of the line the sentences of
        those that cannot be one. A bench that is written on is set out first; nothing that is
        written down is later than `now`."""
        out: list[dict[str, Any]] = []
        wrong: dict[str, str] = {}
        lines = [
            line
            for part in self.parts()
            for line in ditto([one for one in part.lines if not one.done])
        ]
        written = {line.row for line in lines if line.touched and "bottle" in line.of}
        out += list(self._set_out(written))
        for line in lines:
            if not line.touched:
                continue
            # The label of a sample is there beforehand: without a time nothing was taken.
            if line.verb == "add_sample" and not line.at and not self._read(line, lines):
                continue
            try:
                out.append(self._entry(line, on, now))
            except Refused as refusal:
                wrong[line.name] = refusal.sentence
        return out, wrong

    def _read(self, sample: Line, lines: Sequence[Line]) -> bool:
        of = {"bottle": sample.key}
        return any(line.touched and dict(line.of) == of for line in lines)

    def _set_out(self, written: set[str]) -> Iterator[dict[str, Any]]:
        for bench in self.day["benches"]:
            planned = {one["key"] for one in bench["bottles"] if not one["set_out"]}
            test = next(t for t in self.day["tests"] if t["bench"] == bench["key"])
            verbs = ["set_out_bench"] if planned & written else []
            there = {one["key"] for one in bench["bottles"]}
            verbs += ["add_system_water"] if {bench["system_water"]} & (written - there) else []
            for verb in verbs:
                of = {"test": test["key"]}
                yield {"key": str(uuid4()), "verb": verb, "of": of, "put": {}}

    def _entry(self, line: Line, on: date, now: datetime | None) -> dict[str, Any]:
        """Raises Refused time_missing, and what `moment` raises."""
        entry: dict[str, Any] = {"key": line.key, "verb": line.verb, "of": dict(line.of)}
        merges = VERBS[line.verb].merges
        put = {
            box.name: self._text(box)
            for box in line.boxes
            if (box.typed != box.stands if merges else box.typed.strip())
        }
        if line.verb == "note_effluent":  # not of the day on which it is typed in
            put.setdefault("happened_on", on.isoformat())
        if line.verb in ("set_volumes", "set_masses") and put:  # both or neither
            put = {box.name: self._text(box) for box in line.boxes}
        if merges:
            entry["opened"] = {box.name: box.stands for box in line.boxes}
        if line.timed:
            if not line.at:
                raise Refused("time_missing", "Type the time that stands beside it on the sheet.")
            entry["at"] = moment(line.at, on, self.zone, now).isoformat()
            if put.get("outcome") == RestorationLine.Outcome.LEFT_OUT:
                handed_at = moment(str(put.get("handed_at") or line.at), on, self.zone, now)
                put["handed_at"] = handed_at.isoformat()
        return {**entry, "put": put}

    def _text(self, box: Box) -> str | list[str]:
        if box.listed:
            return texts(box.typed)
        text = box.typed.strip()
        if box.units and text and not apart(text, box.units)[1]:
            return f"{text} {box.unit}".strip() if text[-1:].isdigit() else text
        return text
