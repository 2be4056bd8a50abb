"""Benches of any size for the laws of the engine, drawn by hypothesis; invented throughout."""

from typing import Any

from hypothesis import strategies as st

from calc.form import FITS
from tests.calc.benches import readings, standards

MADE = [1.0, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0]
METERS = {  # method: reading of water, reading per %, step
    "refractive_index": (1.3330, 3e-4, 1e-5),
    "brix": (0.05, 0.2, 0.01),
    "conductivity": (410.0, 230.0, 1.0),
}


@st.composite
def benches(draw: st.DrawFn, methods: tuple[str, ...] = tuple(METERS)) -> dict[str, Any]:
    """A test with two to seven standards and one to five samples, each read one to four times."""
    method = draw(st.sampled_from(methods))
    water, slope, step = METERS[method]

    def bottle(percent: float) -> list[dict[str, Any]]:
        off = draw(st.lists(st.integers(-3, 3), min_size=1, max_size=4))
        at = draw(st.sampled_from([None, 19.5, 20.0, 20.0, 21.5]))
        return readings(
            *(round((water + slope * percent) / step + n) * step for n in off), temperature_c=at
        )

    made = draw(st.lists(st.sampled_from(MADE), min_size=2, max_size=7, unique=True))
    bench = {
        "method": method,
        "nominal_percent": 3.0,
        "criterion": draw(st.sampled_from(["common", {"lower": 2.5, "upper": 4.1}])),
        "instrument": {
            "resolution": step,
            "repeatability": draw(st.sampled_from([None, step, 3 * step])),
            "temperature_compensated": draw(st.booleans()),
        },
        "water": bottle(0.0),
        "standards": [{"percent": p, "readings": bottle(p)} for p in made],
        "concentrate": None if draw(st.booleans()) else bottle(90.0),
        "samples": [
            {
                "name": f"bottle {i}",
                "flow_point": draw(st.sampled_from(["minimum", "design"])),
                "readings": bottle(draw(st.floats(0.1, 7.0))),
            }
            for i in range(draw(st.integers(1, 5)))
        ],
        "include_water": len(made) == 2 or draw(st.booleans()),
        "fit": draw(st.sampled_from(FITS)),
    }
    if draw(st.booleans()):
        bench["standards"][0]["percent_uncertainty"] = draw(st.floats(0.005, 0.2))
    return bench


def without_error(percent: float, step: float = 0.1) -> dict[str, Any]:
    """A bench whose points lie on a line to the last digit, and a sample of that percent."""
    return {
        "method": "conductivity",
        "nominal_percent": 3.0,
        "criterion": "common",
        "instrument": {"resolution": step, "repeatability": None, "temperature_compensated": True},
        "water": readings(400.0),
        "standards": standards([2.0, 3.0, 4.0], [850.0, 1075.0, 1300.0]),
        "concentrate": None,
        "samples": [{"name": "one", "readings": readings(400.0 + 225.0 * percent)}],
    }


@st.composite
def near_limits(draw: st.DrawFn) -> float:
    """A percent beside the limits of a 3 % system, 3.0 and 3.9 %, on either side."""
    away = 10 ** draw(st.floats(-7.0, -1.5))
    return draw(st.sampled_from([3.0, 3.9])) + draw(st.sampled_from([-1, 1])) * away
