"""What is said of figures of a flow point is the same on the device, by drawn figures."""

import random
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from playwright.sync_api import Page

from calc.units import FLOW, PRESSURE, VOLUME
from itm.core.quantities import apart, quantity
from itm.records.plausible import IMPOSSIBLE, figure_remarks

pytestmark = pytest.mark.browser
UNITS = {"flow": FLOW, "pressure": PRESSURE, "volume": VOLUME}
KINDS = {
    "solution_flow": "flow", "inlet_pressure": "pressure", "level_before": "volume",
    "level_after": "volume",
}  # fmt: skip
SAID = """async ([run, units, si]) => {
  const own = await import("/static/field/plausible.js");
  const refused = Object.entries(si).filter(([name, value]) => own.impossible(name, value));
  return [own.figureRemarks(run, units), refused.map(([name]) => name)];
}"""
LARGE = {"flow": 3000, "pressure": 90, "volume": 1500}


def test_figures_are_remarked_on_alike(opened: Callable[[str], Page]) -> None:
    page = opened("/field/")
    drawn = random.Random(20261130)
    told = 0
    for _ in range(150):
        typed, si = {}, {}
        for name, kind in KINDS.items():
            unit = drawn.choice(sorted(UNITS[kind]))
            top = LARGE[kind] * drawn.choice([1, 1, 1, 1e5])
            typed[name] = f"{drawn.uniform(0.1, 1) * top:.2f} {unit}"
            if drawn.random() < 0.3:
                typed[name] = ""
            else:
                si[name] = quantity(*apart(typed[name], UNITS[kind]), UNITS[kind]).si
        tank = SimpleNamespace(capacity=1.0, capacity_typed="1000 L")
        point = SimpleNamespace(flow=1900 / 60000, flow_typed="1900 L/min")
        run: Any = SimpleNamespace(
            test=SimpleNamespace(drawn_from=tank), flow_point=point,
            **{name: si.get(name) for name in KINDS},
            **{f"{name}_typed": text for name, text in typed.items()},
        )  # fmt: skip
        wanted = figure_remarks(run)
        given = {**typed, **vars(point), **vars(tank)}
        said, refused = page.evaluate(SAID, [given, UNITS, si])
        assert [_bare(one) for one in said] == [_bare(one) for one in wanted]
        assert refused == [name for name, value in si.items() if value > IMPOSSIBLE[name][0]]
        told += len(wanted)
    assert told > 100


def _bare(sentence: str) -> str:
    """Without the figure that was worked out: the two languages round a tie their own way."""
    head, _, tail = sentence.partition(" times the ")
    return f"{head.rpartition(' is ')[0]} times the {tail}" if tail else sentence
