"""What the phone computes of a direct test, held against the engine and against the pages: percent
and limits, vessels, times, flows that meters give, and what is asked while it still flows."""

import json
import random
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from calc.direct_form import DIRECT_METHODS, evaluate_direct
from calc.units import FLOW, MASS, VOLUME
from calc.vessel_form import HEADS, SHAPES, vessel_at
from calc.vessels import height, volume_at
from itm.core.durations import duration, in_words
from itm.core.errors import Refused
from itm.core.measures import LENGTH
from itm.core.quantities import apart, quantity
from itm.records import direct_flows
from itm.records.direct_forms import DENSITY
from itm.records.direct_inputs import of_method
from itm.records.direct_remarks import direct_remarks
from itm.records.models import DirectRun, DirectSetup, FlowRun, ProportioningTest
from itm.registry.models import FlowPoint

pytestmark = pytest.mark.browser

INPUTS = sorted(
    (Path(__file__).resolve().parents[2] / "fixtures/frozen/direct/inputs").glob("*.json")
)
CLOSE = 1e-9  # relative, as between engine versions on other machines
UNITS = {
    "flow": FLOW, "volume": VOLUME, "length": LENGTH, "mass": MASS, "density": DENSITY,
    "pressure": {"bar": 1e5},
}  # fmt: skip


@pytest.fixture
def phone(opened: Callable[..., Page]) -> Callable[..., Any]:
    """Runs a function of one of the page's own modules in Chromium, for each list of arguments."""
    page = opened("/field/")

    def run(module: str, name: str, *calls: Sequence[Any]) -> list[Any]:
        answers: list[Any] = page.evaluate(
            "async ([module, name, calls]) => {"
            " const own = (await import(`/static/field/${module}.js`))[name];"
            " return calls.map((given) => own(...given)); }",
            [module, name, calls],
        )
        return answers

    return run


def test_every_frozen_direct_case_has_the_same_percents_and_limits(
    phone: Callable[..., Any],
) -> None:
    compared = set()
    for path in INPUTS:
        form = json.loads(path.read_text())
        result = evaluate_direct(form).as_dict()
        [ours] = phone("direct", "preliminaryDirect", (form, {"": result["band"]}))
        assert set(ours) == {"flow_points"}
        for mine, theirs in zip(ours["flow_points"], result["flow_points"], strict=True):
            assert set(mine) == {"name", "percent", "limits"}  # nothing that claims certainty
            assert (mine["name"], mine["limits"]) == (theirs["name"], theirs["limits"]), path.stem
            assert mine["percent"] == pytest.approx(theirs["percent"], rel=CLOSE), path.stem
        compared.add(form["method"])
    assert compared == set(DIRECT_METHODS)


def test_a_run_off_the_flow_of_its_baseline_has_no_percent(phone: Callable[..., Any]) -> None:
    form = json.loads(next(p for p in INPUTS if "water_in_place" in p.stem).read_text())
    form["flow_points"][0]["second_flow"]["value"] *= 1.2
    [ours] = phone("direct", "preliminaryDirect", (form, {"": {"lower": 3, "upper": 3.9}}))
    [point] = ours["flow_points"]
    assert set(point) == {"name", "problem"}
    assert "a tenth off" in point["problem"]


def drawn_vessel(draw: random.Random) -> dict[str, Any]:
    shape = draw.choice(list(SHAPES))
    sizes = {name: draw.uniform(0.2, 4) for name in SHAPES[shape]}
    return {"shape": shape, **sizes, **({"heads": draw.choice(HEADS)} if "heads" in sizes else {})}


def test_a_vessel_holds_on_the_phone_what_it_holds_in_the_engine(phone: Callable[..., Any]) -> None:
    draw = random.Random(20261130)
    vessels = [drawn_vessel(draw) for _ in range(300)]
    tops = [height(vessel_at(vessel, "$")) for vessel in vessels]
    assert phone("vessel", "heightOf", *((one,) for one in vessels)) == pytest.approx(tops)
    cases = [
        (vessel, top * share)
        for vessel, top in zip(vessels, tops, strict=True)
        for share in (0, 0.02, draw.random(), 0.5, draw.random(), 1)
    ]
    theirs = [float(volume_at(vessel_at(vessel, "$"), level)) for vessel, level in cases]
    ours = phone("vessel", "volumeAt", *cases)
    assert ours == pytest.approx(theirs, rel=CLOSE, abs=1e-12)
    kinds = {(vessel["shape"], vessel.get("heads")) for vessel in vessels}
    assert len(kinds) == 2 * len(HEADS) + 2


TIMES = ["2:30", "0:45", "1:02:30", "150 s", "150s", "12,5 s", "90:00", "2.30", "2,30", "150",
         "2:60", "1:60:00", "2:3", "0:00", "25:00:00", "x", "-2:30", "2:30 min", "s",
         "86401 s"]  # fmt: skip


def test_a_time_is_read_as_the_server_reads_it(phone: Callable[..., Any]) -> None:
    found = phone("direct", "duration", *((text,) for text in TIMES))
    for text, ours in zip(TIMES, found, strict=True):
        try:
            expected = {"si": duration(text).si}
        except Refused:
            assert list(ours) == ["problem"], text
        else:
            assert ours == expected, text
    assert "A plain 2.30 could be either" in found[TIMES.index("2.30")]["problem"]
    spans = [0, 1, 59.94, 59.96, 60, 61.5, 150, 3600, 3725, 86399]
    assert phone("words", "inWords", *((one,) for one in spans)) == [in_words(s) for s in spans]


class Drawn:
    """One flow point of a direct test with odd readings, as rows for the server's rules and as the
    texts that a phone holds."""

    def __init__(self, draw: random.Random, method: str) -> None:
        self.method, self.unit = method, draw.choice(list(FLOW))
        self.setup = self.drawn_setup(draw)
        self.flow = draw.uniform(300, 3000) * FLOW["L/min"]
        self.flow_typed = f"{self.flow / FLOW[self.unit]:.4g} {self.unit}"
        noted = draw.random() < 0.7
        self.solution = self.quantity(self.flow * draw.uniform(0.9, 1.1), FLOW) if noted else ""
        self.read = self.drawn_read(draw)

    def quantity(self, si: float, units: dict[str, float], unit: str = "") -> str:
        unit = unit or (self.unit if units is FLOW else next(iter(units)))
        return f"{si / units[unit]:.5g} {unit}"

    def drawn_setup(self, draw: random.Random) -> dict[str, str]:
        if self.method == "weighed":
            return {
                "scale_step": draw.choice(["0.5 kg", "200 g", "2 lb", "5 kg", ""]),
                "density": draw.choice(["1.04 g/mL", "1032 kg/m³", "8.7 lb/US gal", ""]),
            }
        if self.method != "draw_down":
            return {"meter_in": draw.choice(["solution", "solution", "water"])}
        sizes = drawn_vessel(draw)
        return {
            **{
                name: self.quantity(size, LENGTH, "m") if isinstance(size, float) else size
                for name, size in sizes.items()
            },
            "level_step": draw.choice(["1 mm", "2 mm", "1 cm", "0.25 in", ""]),
        }

    def drawn_read(self, draw: random.Random) -> dict[str, str]:
        drawn = self.flow * draw.choice([0.03, 0.033, 0.12])
        start, over = draw.uniform(0, 50), draw.choice([45, 150, 240])
        before = draw.uniform(0.1, 1.5)
        after = before - draw.choice([0.002, 0.008, 0.05, 0.4]) * before
        some = {
            "duration": f"{over // 60}:{over % 60:02}",
            "concentrate_source": draw.choice(["meter", "meter", "nameplate"]),
            "concentrate_read": draw.choice(["rate", "totaliser"]),
            "concentrate_flow": self.quantity(drawn, FLOW),
            "concentrate_start": f"{1000 * start:.1f} L",
            "concentrate_end": f"{1000 * (start + drawn * over):.1f} L",
            "second_flow": self.quantity(self.flow * draw.uniform(0.95, 1.05), FLOW),
            "second_start": f"{start:.3f} m³",
            "second_end": f"{start + self.flow * over:.3f} m³",
            "level_before": self.quantity(before, LENGTH, "mm"),
            "level_after": self.quantity(after, LENGTH, "mm"),
            "mass_before": self.quantity(900 * before, MASS, "lb"),
            "mass_after": self.quantity(900 * after, MASS, "kg"),
        }
        left = {name: text for name, text in some.items() if draw.random() < 0.85}
        read = dict.fromkeys(some, "") | left
        return {**read, "second_read": draw.choice(["discharge", "rate", "totaliser"])}

    def rows(self) -> tuple[DirectSetup, FlowRun]:
        test = ProportioningTest(method=self.method, nominal_percent=Decimal("3.000"))
        setup = DirectSetup(test=test, meter_in=self.setup.get("meter_in", "solution"))
        self.put(setup, self.setup)
        point = FlowPoint(name="design", flow=self.flow, flow_typed=self.flow_typed)
        run = FlowRun(test=test, flow_point=point, solution_flow_typed=self.solution)
        run.solution_flow = self.si(self.solution, FLOW) if self.solution else None
        row = DirectRun(run=run)
        self.put(row, self.read)
        run.direct = row
        return setup, run

    def put(self, row: Any, texts: dict[str, str]) -> None:
        for name, text in texts.items():
            if name == "duration" and text:
                row.duration, row.duration_typed = duration(text).si, text
            elif hasattr(row, f"{name}_typed"):
                number = (
                    self.si(text, {**FLOW, **VOLUME, **LENGTH, **MASS, **DENSITY}) if text else None
                )
                setattr(row, name, number)
                setattr(row, f"{name}_typed", text)
            else:
                setattr(row, name, text)

    @staticmethod
    def si(text: str, units: dict[str, float]) -> float:
        return quantity(*apart(text, units), units).si

    def for_phone(self) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
        run = {
            "key": "r", "name": "design", "flow": self.flow, "flow_typed": self.flow_typed,
            "solution_flow": self.solution, "flow_source": "meter", "outlets": [],
        }  # fmt: skip
        test = {
            "method": self.method, "nominal_percent": "3", "setup": self.setup,
            "measured": {"r": self.read}, "runs": [run],
        }  # fmt: skip
        return {"units": UNITS}, test, run


def drawn(count: int) -> list[Drawn]:
    draw = random.Random(20261129)
    return [Drawn(draw, DIRECT_METHODS[number % 3]) for number in range(count)]


def test_what_is_odd_is_asked_about_in_the_words_of_the_page(phone: Callable[..., Any]) -> None:
    cases = drawn(400)
    theirs = [direct_remarks(*one.rows()) for one in cases]
    assert phone("flowing", "remarksOn", *(one.for_phone() for one in cases)) == theirs
    said = {sentence.split()[0] for sentences in theirs for sentence in sentences}
    assert said == {"A", "That", "The", "At"}  # nameplate, much too rich, too short, how long


def test_what_the_meters_give_as_solution_flow_is_what_the_server_writes(
    phone: Callable[..., Any],
) -> None:
    cases = drawn(400)
    ours = phone("direct", "solutionText", *(one.for_phone() for one in cases))
    theirs = []
    for one in cases:
        setup, run = one.rows()
        found = direct_flows.solution_flow(setup, run.direct, run)
        theirs.append("" if found is None else found.typed)
    assert ours == theirs
    assert 100 < sum(map(bool, theirs)) < 300


def test_the_form_on_the_phone_holds_the_readings_of_the_engines_form(
    phone: Callable[..., Any],
) -> None:
    """Of the same flow points, and to the last digit but one. An accuracy, which the server asks
    for and a plain percent does not need, is given to all."""
    cases, whole = drawn(400), 0
    found = phone("direct", "formOfDirect", *(one.for_phone()[:2] for one in cases))
    for one, ours in zip(cases, found, strict=True):
        setup, run = one.rows()
        setup.concentrate_accuracy = setup.second_accuracy = 1
        setup.level_step = setup.level_step or 0.001
        setup.scale_step = setup.scale_step or 0.1
        setup.scale_error = setup.density_error = 1
        theirs = of_method(_with(setup, run))
        if one.method == "draw_down" and theirs["vessel"] is None:
            continue
        if one.method == "weighed" and theirs["density"] is None:
            assert ours["flow_points"] == []
            continue
        points = [
            {name: read["value"] for name, read in point.items() if isinstance(read, dict)}
            for point in theirs["flow_points"]
        ]
        mine = [
            {name: read["value"] for name, read in point.items() if isinstance(read, dict)}
            for point in ours["flow_points"]
        ]
        assert len(mine) == len(points), (one.setup, one.read)
        for a, b in zip(mine, points, strict=True):
            assert a == pytest.approx(b, rel=1e-12)
        whole += len(points)
    assert whole > 60


def _with(setup: DirectSetup, run: FlowRun) -> Any:
    """A test that is not in any database, with its one run."""

    class Runs:
        @staticmethod
        def all() -> list[FlowRun]:
            return [run]

    class Test:
        method, direct, runs = setup.test.method, setup, Runs

    return Test


def test_contradictions_are_told_at_their_entry(phone: Callable[..., Any]) -> None:
    vessel = {"shape": "sphere", "diameter": "2 m", "level_step": "1 mm"}
    run = {
        "key": "r", "name": "design", "flow": 0.03, "flow_typed": "1900 L/min",
        "solution_flow": "1900 L/min", "flow_source": "meter", "outlets": [],
    }  # fmt: skip
    nothing = {"second_read": "discharge", "concentrate_read": "totaliser"}

    def told(method: str, put: dict[str, str], **setup: str) -> dict[str, str]:
        test = {"method": method, "setup": setup, "measured": {"r": nothing}, "runs": [run]}
        [found] = phone("flowing", "contradictions", ({"units": UNITS}, test, run, put))
        return dict(found)

    meters = {"meter_in": "solution"}
    counted = {"concentrate_start": "900 L", "concentrate_end": "90.5 L"}
    assert set(told("two_flows", counted, **meters)) == {"concentrate_end"}
    assert told("two_flows", counted | {"concentrate_end": "905 L"}, **meters) == {}
    over = {"second_read": "rate", "second_flow": "1800 L/min"}
    assert "1900 L/min is noted" in told("two_flows", over, **meters)["second_read"]
    assert told("two_flows", over | {"second_flow": "1900 L/min"}, **meters) == {}
    rose = {"level_before": "1.2 m", "level_after": "1.3 m"}
    assert set(told("draw_down", rose, **vessel)) == {"level_after"}
    high = {"level_before": "2.1 m", "level_after": "1.3 m"}
    assert "from 0 to 2 m" in told("draw_down", high, **vessel)["level_before"]
    assert told("draw_down", {"level_before": "1.2 m", "level_after": "1.1 m"}, **vessel) == {}
    heavier = {"mass_before": "900 kg", "mass_after": "1985 lb"}  # 900.4 kg
    assert set(told("weighed", heavier)) == {"mass_after"}
    assert told("weighed", heavier | {"mass_after": "1984 lb"}) == {}


@pytest.mark.parametrize(
    ("name", "kind", "good", "bad"),
    [
        ("concentrate_accuracy", "share", ["1 %", "50 %"], ["0 %", "51 %", "one %"]),
        ("second_flow", "flow", ["1900 L/min"], ["0 L/min", "-3 L/min", "1,900 L/min"]),
        ("second_start", "volume", ["0 L", "12.5 m³"], ["-1 L", "much L"]),
        ("diameter", "length", ["1.2 m"], ["0 m", "-1 m"]),
        ("duration", "duration", ["2:30"], ["2.30"]),
        ("mass_before", "mass", ["0 kg", "900 kg", "1,5 lb"], ["-1 kg", "much kg"]),
        ("scale_step", "mass", ["200 g"], ["0 kg", "-1 kg"]),
        ("density", "density", ["1.04 g/mL"], ["1.04 kg/m³", "1040 g/mL", "0 kg/m³"]),
    ],
)
def test_a_text_is_refused_on_the_phone_where_the_server_refuses_it(
    phone: Callable[..., Any], name: str, kind: str, good: list[str], bad: list[str]
) -> None:
    """As the forms and itm/records/measuring.py refuse them, in a whole sentence."""
    view = {"units": {**UNITS, "share": {"%": 1.0}}}
    asked = [{"name": name, "kind": kind}]
    for text in good:
        assert phone("flowing", "wrongTexts", (view, asked, {name: text})) == [{}], text
    for text in bad:
        [wrong] = phone("flowing", "wrongTexts", (view, asked, {name: text}))
        assert set(wrong) == {name}, text
        assert wrong[name].endswith((".", "?")), text
    assert phone("flowing", "wrongTexts", (view, asked, {name: ""})) == [{}]
