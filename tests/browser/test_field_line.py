"""What the phone computes, held against the engine: line, percent, limits, pitot, odd readings."""

import json
import random
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

import calc
from calc.hydraulics import pitot_flow
from calc.inverse import reading_width
from calc.series import correction, water_density_series
from calc.standards import as_made_by_mass, as_made_percent
from calc.units import FLOW, INCH, PSI
from calc.water import water_density
from itm.core.quantities import parse_decimal
from itm.intake.check import judge
from itm.intake.doubts import Read, questions
from itm.intake.fields import TEMPERATURE, decimals_of_step, reading_field
from itm.records.direct_forms import DENSITY
from itm.records.evaluate import common_temperature

pytestmark = pytest.mark.browser

INPUTS = sorted((Path(__file__).resolve().parents[2] / "fixtures/frozen/inputs").glob("*.json"))
CLOSE = 1e-9  # relative, as between engine versions on other machines


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


def frozen() -> dict[str, dict[str, Any]]:
    return {path.stem: json.loads(path.read_text()) for path in INPUTS}


def test_every_frozen_ordinary_case_has_the_same_line_percents_and_limits(
    phone: Callable[..., Any],
) -> None:
    compared, corrected = 0, set()
    for name, form in frozen().items():
        if form.get("fit", "ordinary") != "ordinary":
            continue
        result = calc.evaluate(form).as_dict()
        given = (form, {"": result["band"]}, correction(form["method"]), water_density_series())
        [ours] = phone("line", "preliminary", given)
        for key in ("slope", "intercept"):
            assert ours["line"][key] == pytest.approx(result["line"][key], rel=CLOSE), name
        for kind in ("samples", "flow_points"):
            assert [one["name"] for one in ours[kind]] == [one["name"] for one in result[kind]]
            for mine, theirs in zip(ours[kind], result[kind], strict=True):
                assert mine["percent"] == pytest.approx(theirs["percent"], rel=CLOSE), name
                assert mine["limits"] == theirs["limits"], name
        assert set(ours) == {"line", "samples", "flow_points"}  # and nothing that claims certainty
        compared += 1
        corrected |= {form["method"]} if form.get("correct_to_c") is not None else set()
    assert compared >= 23
    assert corrected == {"refractive_index", "brix", "conductivity"}


def test_what_the_phone_cannot_draw_it_says_and_does_not_draw(phone: Callable[..., Any]) -> None:
    other = {
        name: form for name, form in frozen().items()
        if form.get("fit", "ordinary") != "ordinary"
    }  # fmt: skip
    assert {form["fit"] for form in other.values()} == {"weighted", "both-axes"}
    for name, form in other.items():
        [ours] = phone("line", "preliminary", (form, {"": {"lower": 3, "upper": 3.9}}))
        assert list(ours) == ["problem"], name
        assert "server" in ours["problem"]


def test_common_temperature_is_that_of_the_server(phone: Callable[..., Any]) -> None:
    """A mean on a half goes to the even tenth, as Python rounds; nothing noted is 20 °C."""
    draw = random.Random(20260505)
    noted = [[20.2, 20.3], [20.1, 20.4], [19.95], [None, 21.0], [None]] + [
        [round(draw.uniform(0, 40), 2) for _ in range(draw.randint(1, 9))] for _ in range(200)
    ]
    forms = [
        {"water": [{"temperature_c": one} for one in some[:1]],
         "standards": [{"readings": [{"temperature_c": one} for one in some[1:]]}]}
        for some in noted
    ]  # fmt: skip
    theirs = [common_temperature(form) for form in forms]
    assert phone("line", "commonTemperature", *((form,) for form in forms)) == theirs


def test_what_cannot_be_corrected_is_said(phone: Callable[..., Any]) -> None:
    form = frozen()["corrected_to_one_temperature"]
    bands, how = {"": {"lower": 3, "upper": 3.9}}, correction(form["method"])
    twice = {**form, "instrument": {**form["instrument"], "temperature_compensated": True}}
    unknown = {**form, "water": [{"value": 1.333, "temperature_c": None}]}
    hot = {**form, "water": [{"value": 1.333, "temperature_c": 71.0}]}
    told = [phone("line", "preliminary", (one, bands, how))[0] for one in (twice, unknown, hot)]
    assert [list(one) for one in told] == [["problem"]] * 3
    for said, words in zip(told, ("corrected twice", "has none", "beyond"), strict=True):
        assert words in said["problem"]


@pytest.mark.parametrize(("percent", "shown", "limits"), [
    (3.9 + 4e-16, "3.90", "in band"),  # within 1e-9 of a limit is on it
    (3.9004, "3.9004", "rich"),  # "3.90" would stand on the limit
    (2.9999, "2.9999", "lean"),
    (3.2149, "3.21", "in band"),
])  # fmt: skip
def test_no_percent_is_rounded_across_a_limit(
    phone: Callable[..., Any], percent: float, shown: str, limits: str
) -> None:
    """As tests/itm/web/test_face.py asks of the pages."""
    band = {"lower": 3.0, "upper": 3.9}
    assert phone("line", "side", (percent, band)) == [limits]
    assert phone("line", "shown", (percent, band)) == [shown]


def test_pitot_flow_is_that_of_the_engine_and_of_the_published_case(
    phone: Callable[..., Any],
) -> None:
    """NFPA 291: Q = 29.84 c d² √p; check value E-01 of fixtures/reference/check-values.json."""
    cases = json.loads((INPUTS[0].parents[2] / "reference/check-values.json").read_text())
    published = next(case for case in cases if case["id"] == "E-01")
    given = published["inputs"]
    flows = phone(
        "flow", "pitotFlow",
        *((given["d_in"] * INCH, c, p * PSI)
          for c, p in zip(given["c"], given["p_psi"], strict=True)),
    )  # fmt: skip
    tolerance = published["tolerance"]["abs"]
    gpm = [flow / FLOW["US gpm"] for flow in flows]
    assert gpm == pytest.approx(published["expected"]["gpm"], abs=tolerance)
    drawn = random.Random(20260503)
    many = [
        (drawn.uniform(0.01, 0.2), drawn.choice([0.7, 0.8, 0.9, 0.95]), drawn.uniform(2e4, 1e6))
        for _ in range(200)
    ]
    theirs = [float(pitot_flow(*one)) for one in many]
    assert phone("flow", "pitotFlow", *many) == pytest.approx(theirs, rel=1e-12)
    outlet = {"diameter": "2.5 in", "coefficient": "0.90", "pressure": "40 psi"}
    [ours] = phone("flow", "outletFlow", (outlet, {"psi": PSI}))
    assert ours["flow"] == pytest.approx(float(pitot_flow(2.5 * INCH, 0.9, 40 * PSI)), rel=1e-12)


class Meter:
    """A display of the benches drawn below."""

    def __init__(
        self, method: str, unit: str, resolution: str, repeatability: str | None,
        compensates: tuple[str, str] | None = None, interpolated: bool = False,
    ) -> None:  # fmt: skip
        self.interpolated = interpolated
        self.method, self.unit = method, unit
        self.resolution = Decimal(resolution)
        self.repeatability = Decimal(repeatability) if repeatability else None
        self.temperature_compensated = compensates is not None
        low, high = compensates or (None, None)
        self.compensates_from_c = Decimal(low) if low else None
        self.compensates_to_c = Decimal(high) if high else None

    @property
    def width(self) -> float:
        return reading_width(float(self.resolution), self.interpolated)

    @property
    def steps_in_words(self) -> str:
        return f"{self.resolution:f} {self.unit}".strip()


METERS = [
    Meter("refractive_index", "", "0.0001", None),
    Meter("refractive_index", "", "0.00001", "0.00002"),
    Meter("brix", "% Brix", "0.1", None),
    Meter("brix", "% Brix", "0.1", "0.1", ("10", "21.5")),
    Meter("conductivity", "µS/cm", "1", "2"),
    Meter("brix", "% Brix", "0.05", None, interpolated=True),
    Meter("brix", "% Brix", "0.05", "0.05", interpolated=True),
]


def fields_of(meter: Meter) -> dict[str, Any]:
    value = reading_field(meter)
    return {
        "value": {
            "name": value.name, "lowest": f"{value.lowest:f}", "highest": f"{value.highest:f}",
            "lowest_itself": value.lowest_itself, "example": value.example, "range": value.range,
            "decimals": decimals_of_step(meter.resolution),
            "step": f"{meter.resolution.normalize():f}",
            "steps_in_words": meter.steps_in_words, "interpolated": meter.interpolated,
        },
        "temperature": {
            "lowest": f"{TEMPERATURE.lowest:f}", "highest": f"{TEMPERATURE.highest:f}",
            "lowest_itself": True, "range": TEMPERATURE.range, "decimals": 2,
        },
    }  # fmt: skip


def drawn_bench(draw: random.Random, meter: Meter) -> list[dict[str, Any]]:
    """Bottles as a crew would read them, with the slips that crews make."""
    step = float(meter.resolution)
    span = {"brix": (0.4, 0.35), "conductivity": (420.0, 40.0)}.get(meter.method, (1.333, 0.0004))
    digits = decimals_of_step(meter.resolution)
    kinds = [("water", 0.0), ("standard", 2.0), ("standard", 3.0), ("standard", 4.0),
             ("sample", 3.3), ("sample", 3.2), ("concentrate", 100.0)]  # fmt: skip
    bottles, sequence = [], 0
    for number, (role, percent) in enumerate(kinds):
        readings = []
        for _ in range(draw.randint(1, 3)):
            sequence += 1
            value = span[0] + span[1] * percent + draw.gauss(0, step)
            if draw.random() < 0.12:
                value += draw.choice([-1, 1]) * draw.randint(8, 60) * step
            text = f"{round(value / step) * step:.{digits}f}"
            if draw.random() < 0.15:  # two digits changed over, or one left out
                place = draw.randint(len(text) - 3, len(text) - 2)
                text = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
            if draw.random() < 0.08 and "." in text:
                text = text[:-1]
            if meter.method == "conductivity" and draw.random() < 0.08:
                text = f"{value / 1000:.3f}"  # the meter went over to mS/cm
            readings.append(
                {"key": f"r{sequence}", "sequence": sequence, "value": text,
                 "temperature": draw.choice(["", "20.1", "20.4", "22.0"]), "set_aside_reason": ""}
            )  # fmt: skip
        bottles.append(
            {"key": f"b{number}", "role": role, "percent": percent, "readings": readings,
             "withdrawn_reason": ""}
        )  # fmt: skip
    return bottles


def reads_of(bottles: list[dict[str, Any]]) -> list[Read]:
    return [
        Read(
            place=one["key"], bottle=bottle["key"], role=bottle["role"],
            percent=bottle["percent"] if bottle["role"] in ("water", "standard") else None,
            sequence=one["sequence"], value=parse_decimal(one["value"]),
            temperature_c=Decimal(one["temperature"]) if one["temperature"] else None,
        )
        for bottle in bottles
        for one in bottle["readings"]
    ]  # fmt: skip


def bench_for_phone(bottles: list[dict[str, Any]], meter: Meter) -> dict[str, Any]:
    repeatability = f"{meter.repeatability:f}" if meter.repeatability else None
    return {
        "bottles": bottles,
        "fields": fields_of(meter),
        "instrument": {
            "method": meter.method, "unit": meter.unit,
            "temperature_compensated": meter.temperature_compensated,
            "compensates_from_c": meter.compensates_from_c and str(meter.compensates_from_c),
            "compensates_to_c": meter.compensates_to_c and str(meter.compensates_to_c),
            "resolution": f"{meter.resolution:f}", "width": meter.width,
            "repeatability": repeatability,
        },
    }  # fmt: skip


CODES = """async (benches) => {
  const { questions } = await import("/static/field/readings.js");
  const percentOf = (one) => (["water", "standard"].includes(one.role) ? one.percent : null);
  const codes = (bench) => [...questions(bench, percentOf)].map(([key, [code]]) => [key, code]);
  return benches.map((bench) => Object.fromEntries(codes(bench)));
}"""


def test_odd_readings_are_asked_about_as_the_server_does(opened: Callable[..., Page]) -> None:
    draw = random.Random(20260504)
    benches, theirs = [], []
    for number in range(160):
        meter = METERS[number % len(METERS)]
        bottles = drawn_bench(draw, meter)
        benches.append(bench_for_phone(bottles, meter))
        theirs.append({q.place: q.code for q in questions(reads_of(bottles), meter)})
    ours = opened("/field/").evaluate(CODES, benches)
    assert ours == theirs
    assert {code for one in theirs for code in one.values()} == {
        "digits", "other_range", "replicate", "off_line", "outside_range", "beyond_compensation",
        "temperature_apart",
    }  # fmt: skip


TYPED = ["1.33304", "1.3330", "1.333", "1,3331", "13330", "4.2", "", "n/a", "1.333045", "0.9",
         "861", "861.5", "1.7", "1.3", "1.70001", "-1", "95", "95.1", "0"]  # fmt: skip
WARM = ["", "20", "20,1", "20.123", "72", "200", "-4", "-6", "x"]


@pytest.mark.parametrize(
    "meter",
    METERS,
    ids=["four", "five", "brix", "brix compensating", "conductivity", "marks", "marks that repeat"],
)
def test_what_is_no_reading_is_refused_where_the_server_refuses_it(
    phone: Callable[..., Any], meter: Meter
) -> None:
    pairs = [(typed, warm) for typed in TYPED for warm in WARM]
    found = phone("readings", "judge", *((*pair, fields_of(meter)) for pair in pairs))
    for (typed, warm), ours in zip(pairs, found, strict=True):
        judged = judge(typed, warm, meter, place="value", temperature_place="temperature")
        assert set(ours) == {problem.place for problem in judged.problems}, (typed, warm, ours)
        assert all(sentence.endswith((".", ")")) for sentence in ours.values())


def test_percent_of_a_standard_is_that_of_the_engine(phone: Callable[..., Any]) -> None:
    bottle = {"role": "standard", "concentrate_ml": "6,1", "water_ml": "194"}
    made, unknown, water = phone(
        "weighing", "percentOf", ({}, bottle), ({}, bottle | {"water_ml": ""}),
        ({}, {"role": "water"}),
    )  # fmt: skip
    assert made == pytest.approx(as_made_percent(6.1, 194), rel=1e-12)
    assert (unknown, water) == (None, 0)


def test_percent_of_a_weighed_standard_is_that_of_the_engine(phone: Callable[..., Any]) -> None:
    """Grams, and a density in any unit at any temperature of a bench; without one no percent."""
    bottle = {
        "role": "standard", "concentrate_g": "15,72", "water_g": "484.13",
        "recipe": {"concentrate": "15", "water": "485"},
    }  # fmt: skip
    bench = {"standards_by": "mass", "water_density": water_density_series()}
    known = [("1.048 g/mL", "20 °C"), ("1048 kg/m³", "68 °F"), ("8.75 lb/US gal", "12.5 °C")]
    benches = [bench | {"density": density, "density_at": at} for density, at in known]
    bare = bench | {"density": "1048 kg/m³", "density_at": ""}
    *found, unknown = phone(
        "weighing", "percentOf", *((one, bottle, DENSITY) for one in (*benches, bare))
    )
    for (density, at), ours in zip(known, found, strict=True):
        number, _, unit = density.partition(" ")
        warm, _, degrees = at.partition(" ")
        celsius = (float(warm) - 32) / 1.8 if degrees == "°F" else float(warm)
        made = as_made_by_mass(
            15.72, 484.13, float(number) * DENSITY[unit], float(water_density(celsius)), 0
        )
        assert ours == pytest.approx(float(made.percent), rel=1e-10)
    assert unknown is None
    [by_mass] = phone("weighing", "massPercent", (bottle,))
    assert by_mass == pytest.approx(100 * 15.72 / (15.72 + 484.13), rel=1e-12)
    grams, none = phone(
        "weighing", "recipeOf", (benches[0], bottle, DENSITY), (bare, bottle, DENSITY)
    )
    assert grams == {"concentrate": "15.72", "water": "484.13"}
    assert none is None
