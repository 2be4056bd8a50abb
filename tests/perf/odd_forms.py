"""Forms that nobody should send: archived tests damaged, published numbers in the wrong places,
whole forms drawn at the edge of what numbers can be, and plain nonsense. All invented.

A number of the seed and the count gives the same forms on every machine.
"""

import copy
import json
import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAN, INFINITE = float("nan"), float("inf")
TINY, HUGE = [5e-324, 1e-310, 1e-200, 1e-160, 1e-9], [1e9, 1e154, 1e160, 1e200, 1.7e308]
NUMBERS = [0, -0.0, 1, -1, 3, 20.0, 99.999, 100, 100.1, 1.3335, 0.5, 0.75, 2**53, *TINY, *HUGE]
NO_NUMBERS = [NAN, INFINITE, -INFINITE, 10**400, -(2**60), Decimal("NaN"), Decimal("1e400")]
TEXTS = ["", " ", "x", "3", "1.3335", "1e999", "NaN", "2020-01-01", "null", "ordinary", "brix"]
TEXTS += ["泡", "\u202eabc", "a\nb", "\x00", "\ud800", "{values}", "%s", "a" * 5000, "é" * 300]
KEYS = ["value", "readings", "percent", "fit", "ph", "colour", "", "a.b", "__class__", "泡" * 50]
OUTER = ["method", "nominal_percent", "criterion", "instrument", "water", "standards", "samples"]
PAIRS = ["percent_uncertainty", "concentrate_ml", "water_ml", "correct_to_c", "lean_probability"]
PAIRS += ["concentrate_g", "water_g", "densities"]


def archived() -> list[Any]:
    """Every input that an archive of the engine holds."""
    folder = FIXTURES / "frozen"
    files = sorted([*folder.glob("inputs/*.json"), *folder.glob("[0-9]*/*.json")])
    read = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    return [entry.get("input", entry) for entry in read]


def published() -> list[Any]:
    """The inputs of the published cases; few of them have the form of a test."""
    file = FIXTURES / "reference" / "check-values.json"
    return [case["inputs"] for case in json.loads(file.read_text(encoding="utf-8"))]


def odd_forms(seed: int) -> Iterator[Any]:
    """One form after the other, without end."""
    choose = random.Random(seed)
    tests, cases = archived(), published()
    kinds = {
        lambda: damaged(choose.choice(tests), choose): 50,
        lambda: shaken(choose.choice(tests), choose): 10,
        lambda: drawn(choose): 20,
        lambda: damaged(drawn(choose), choose): 5,
        lambda: poured(choose.choice(tests), numbers_in(choose.choice(cases)), choose): 7,
        lambda: damaged(choose.choice(cases), choose): 3,
        lambda: anything(choose): 5,
    }
    makers, shares = list(kinds), list(kinds.values())
    while True:
        yield choose.choices(makers, shares)[0]()


def places(form: Any) -> list[tuple[Any, Any]]:
    """Every entry of a form, as what holds it and its key there."""
    found = []
    holders = [form]
    while holders:
        holder = holders.pop()
        if not isinstance(holder, dict | list):
            continue
        for key in holder if isinstance(holder, dict) else range(len(holder)):
            found.append((holder, key))
            holders.append(holder[key])
    return found


def is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) != 10**400


def numbers_in(form: Any) -> list[Any]:
    return [holder[key] for holder, key in places(form) if is_number(holder[key])]


def damaged(form: Any, choose: random.Random) -> Any:
    """A copy with one to three entries changed, moved, taken away or added."""
    form = copy.deepcopy(form)
    for _ in range(choose.choice([1, 1, 1, 2, 3])):
        if known := places(form):
            _damage(known, choose)
    return form


def _damage(known: list[tuple[Any, Any]], choose: random.Random) -> None:
    holder, key = choose.choice(known)
    value, kind = holder[key], choose.random()
    if kind < 0.35 and is_number(value):
        holder[key] = value * choose.choice([-1, 0.1, 0.5, 0.999, 1.001, 2, 10, 1e6, 1e-6, 1e300])
    elif kind < 0.65:
        holder[key] = odd(choose)
    elif kind < 0.75:
        holder[key] = str(value)[:50] if is_number(value) else [value]
    elif kind < 0.83:
        other_holder, other = choose.choice(known)
        holder[key] = copy.deepcopy(other_holder[other])
    elif kind < 0.91:
        del holder[key]
    elif isinstance(holder, list):
        _stretch(holder, key, choose)
    else:
        holder[choose.choice(KEYS + PAIRS)] = odd(choose)


def _stretch(entries: list[Any], key: int, choose: random.Random) -> None:
    """Twice the same entry, another order, or now and then very many of one."""
    kind = choose.random()
    if kind < 0.5:
        entries.append(copy.deepcopy(entries[key]))
    elif kind < 0.95:
        choose.shuffle(entries)
    else:
        entries.extend(copy.deepcopy(entries[key]) for _ in range(choose.choice([30, 300])))


def odd(choose: random.Random) -> Any:
    """One entry that hardly ever belongs where it is put."""
    kind = choose.random()
    if kind < 0.5:
        return choose.choice([-1, 1, 1]) * choose.choice(NUMBERS)
    if kind < 0.6:
        return choose.choice(NO_NUMBERS)
    if kind < 0.75:
        return choose.choice(TEXTS)
    if kind < 0.97:
        return choose.choice([None, True, False, [], {}, [1], {"a": 1}, [[]], [None], (), b"x"])
    return nested(choose.randint(2, 200))


def nested(depth: int) -> Any:
    value: Any = []
    for step in range(depth):
        value = {"a": value} if step % 2 else [value]
    return value


def anything(choose: random.Random, depth: int = 3) -> Any:
    """Plain data of any shape."""
    kind = choose.random()
    if depth == 0 or kind < 0.3:
        return odd(choose)
    if kind < 0.6:
        return [anything(choose, depth - 1) for _ in range(choose.randint(0, 4))]
    keys = OUTER if choose.random() < 0.7 else KEYS + TEXTS
    return {choose.choice(keys): anything(choose, depth - 1) for _ in range(choose.randint(0, 9))}


def poured(form: Any, numbers: list[Any], choose: random.Random) -> Any:
    """A test with the numbers of something else in some of its places."""
    form = copy.deepcopy(form)
    share = choose.random()
    for holder, key in places(form):
        if numbers and is_number(holder[key]) and choose.random() < share:
            holder[key] = choose.choice(numbers)
    return form


def shaken(form: Any, choose: random.Random) -> Any:
    """A test in another unit, of another sign, spread out or squeezed: all of its readings alike,
    so that it reaches the arithmetic."""
    form = copy.deepcopy(form)
    times, by = _size(choose), choose.choice([0, 0, 1, -1]) * _size(choose)
    for holder, key in places(form):
        if key in ("value", "resolution", "repeatability") and is_number(holder[key]):
            holder[key] = holder[key] * times + (by if key == "value" else 0)
    for key, options in OPTIONS.items():
        if choose.random() < 0.3:
            form[key] = choose.choice(options)
    return form


OPTIONS: dict[str, list[Any]] = {
    "fit": ["ordinary", "weighted", "both-axes"],
    "include_water": [True, False],
    "method": ["refractive_index", "brix", "conductivity"],
    "correct_to_c": [0, 20.0, 25, 40],
    "verdict_probability": [None, 0.5, 0.75, 0.95, 1 - 2**-53],
    "lean_probability": [None, 0.5, 0.99],
    "concentrate": [None, [{"value": 1.36, "temperature_c": 20}]],
    "criterion": ["common", {"lower": 0, "upper": 100}, {"lower": 3, "upper": 3 + 4e-16 * 2}],
}


def _size(choose: random.Random) -> float:
    """A number above 0 of any size that there is, ordinary ones most often."""
    exponent = choose.choice([1, 1, 3, 12, 150, 300])
    return choose.uniform(1, 10) * 10.0 ** choose.uniform(-exponent, exponent)


def drawn(choose: random.Random) -> Any:
    """A form in which every entry may stand, as far apart as entries may be."""
    level, slope = choose.choice([0, 1.333, 1.333, 15, _size(choose)]), _size(choose)
    if choose.random() < 0.6:
        slope = (level or 1) * 10 ** choose.uniform(-8, 0)
    noise = slope * choose.choice([0, 1e-3, 0.1, 1, _size(choose)])
    percents = _percents(choose)
    to_c = choose.choice([None, None, None, *OPTIONS["correct_to_c"]])
    temperatures = (
        [None, 20, 20.0, 21.5, 0, 40, -273.15, 1000] if to_c is None else [0, 20, 21.5, 40]
    )

    def bottle(percent: float) -> list[Any]:
        return [
            {
                "value": level + slope * percent + noise * choose.gauss(0, 1),
                "temperature_c": choose.choice(temperatures),
            }
            for _ in range(choose.choice([1, 1, 1, 2, 3, 9]))
        ]

    form = {
        "method": choose.choice(OPTIONS["method"]),
        "nominal_percent": choose.choice([3, 3.0, 6, 1, 0.5, 100, 1e-9, 5e-324]),
        "criterion": choose.choice([*OPTIONS["criterion"], *RULES]),
        "instrument": _instrument(choose, slope),
        "water": bottle(0),
        "standards": [_standard(p, bottle(p), choose) for p in percents],
        "concentrate": choose.choice([None, bottle(100)]),
        "samples": [
            {
                "name": f"bottle {i}",
                "flow_point": choose.choice(["one", "two"]),
                "readings": bottle(choose.choice([3, 3.5, percents[0], -50, 200, _size(choose)])),
            }
            for i in range(choose.choice([1, 2, 3, 6]))
        ],
    }
    for key in ("water_again", "test_water"):
        if choose.random() < 0.2:
            form[key] = bottle(choose.choice([0, 0.05, percents[0]]))
    if to_c is not None:
        form["correct_to_c"] = to_c
        form["instrument"]["temperature_compensated"] = False
    for key in ("fit", "include_water", "verdict_probability", "lean_probability"):
        if choose.random() < 0.4:
            form[key] = choose.choice(OPTIONS[key])
    return form


RULES = [
    {"name": name, "baseline_percent": 3.1} if name == "baseline" else {"name": name}
    for name in ("fixed-systems", "vehicle-turrets", "marine", "european", "baseline")
]


def _percents(choose: random.Random) -> list[float]:
    count = choose.choice([2, 3, 3, 4, 5, 8])
    kind = choose.random()
    if kind < 0.6:
        return [choose.choice([1, 2, 3, 4, 5, 6, choose.uniform(0.01, 12)]) for _ in range(count)]
    if kind < 0.8:
        return [min(100.0, _size(choose)) for _ in range(count)]
    return [3 + i * choose.choice([0, 1e-9, 2e-9, 1e-8, 1e-5]) for i in range(count)]


def _standard(percent: float, readings: list[Any], choose: random.Random) -> dict[str, Any]:
    made: dict[str, Any] = {"percent": percent}
    if choose.random() < 0.2:
        size = choose.choice([1, 100, 1e9, 1e-300])
        made = {
            "concentrate_ml": min(size * percent, 1e9),
            "water_ml": min(size * max(100 - percent, 0), 1e9),
        }
    if choose.random() < 0.2:
        made["percent_uncertainty"] = choose.choice([100, 5e-324, 1e-200, min(_size(choose), 100)])
    return {**made, "readings": readings}


def _instrument(choose: random.Random, slope: float) -> dict[str, Any]:
    def near() -> float:
        return choose.choice([1e-5, 1e-4, 0.1, slope or 1, _size(choose), 5e-324, 1.7e308])

    instrument = {
        "resolution": near(),
        "repeatability": choose.choice([None, near()]),
        "temperature_compensated": choose.choice([True, False]),
    }
    if choose.random() < 0.2:
        instrument["repeatability_history"] = {
            "standard_deviation": near(),
            "degrees_of_freedom": choose.choice([1, 3.5, 20, 1e6]),
        }
    return instrument


def damaged_text(form: Any, choose: random.Random) -> bytes:
    """One line of a stream that is no longer quite the form, nor JSON always."""
    text = json.dumps(form, default=str).encode()
    at, kind = choose.randrange(len(text) + 1), choose.randrange(7)
    changes = {
        0: lambda: text[:at],
        1: lambda: text[:at] + bytes([choose.choice([0, 9, 34, 92, 123, 255])]) + text[at:],
        2: lambda: text.replace(b'"value":', b'"value": 1, "value":', 1),
        3: lambda: text.replace(b"1.3", b"1" + b"3" * 5000, 1),
        4: lambda: text.replace(b"1.3", b"1e" + b"9" * choose.choice([3, 400]), 1),
        5: lambda: b"[" * choose.choice([10, 100_000]) + text,
        6: lambda: choose.choice(
            [b"", b" ", b"null", b"\xff\xfe", b"{}" * 3, b"-", b"\xef\xbb\xbf"]
        ),
    }
    return changes[kind]().replace(b"\n", b" ").replace(b"\r", b" ")
