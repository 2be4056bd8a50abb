"""A test beside what its site has read before: the same figures again, or another liquid.

Facts and no accusation: a display of few digits repeats itself honestly, and concentrates do
change. Whoever signs or looks on is told, and decides.
"""

from collections.abc import Iterable
from statistics import fmean
from typing import Any

from itm.core.figures import day
from itm.records.circumstances import Circumstance, in_force
from itm.records.loading import BENCH_ORDER
from itm.records.models import Bench, Bottle, LatestRecord, ProportioningTest, Reading
from itm.registry.models import Instrument

FEWEST = 6  # readings, own choice: fewer are alike by chance too often
WATER, CONCENTRATE = Bottle.Role.WATER, Bottle.Role.CONCENTRATE
# How far one liquid may read from one year to the next, own choice, no source: five degrees and
# another meter. Conductivity by ratio.
APART = {"refractive_index": 0.0010, "brix": 0.7}
APART_RATIO = 1.5
LIQUIDS = {WATER: "The test water", CONCENTRATE: "The undiluted concentrate"}


def resemblances(test: ProportioningTest) -> list[Circumstance]:
    """Of a test as `loading.whole` gives it; two queries, none where it has no bench."""
    if test.bench is None:
        return []
    return [*_same_series(test, test.bench), *_other_liquid(test, test.bench)]


def _same_series(test: ProportioningTest, bench: Bench) -> Iterable[Circumstance]:
    """Every reading with its temperature, digit for digit and in order, as in an earlier test."""
    own = [b for run in test.runs.all() for b in run.bottles.all()]
    mine = sorted(
        (r for b in [*bench.bottles.all(), *own] for r in in_force(b)),
        key=lambda r: (r.read_at, r.sequence),
    )
    first = next((r for b in own for r in in_force(b)), None)
    if first is None or len(mine) < FEWEST:
        return
    series = [(r.value, r.temperature_c) for r in mine]
    for (tag, on), theirs in _series_with(test, first).items():
        if theirs == series:
            yield Circumstance(
                "Readings",
                f"All {len(series)} readings, their temperatures and their order are the same as "
                f"in the test of {tag} on {day(on)}.",
            )


def _series_with(test: ProportioningTest, first: Reading) -> dict[tuple[str, Any], list[Any]]:
    """Earlier series of the site with a sample that reads as `first` does, by device and day."""
    alike = (
        Reading.objects.filter(
            value=first.value, temperature_c=first.temperature_c, set_aside_at=None,
            bottle__run__test__site=test.site_id, bottle__run__test__tested_on__lte=test.tested_on,
            bottle__run__test__state__in=["handed_in", "sealed"],
        )
        .exclude(bottle__bench=test.bench_id)
        # What corrects a record, or is corrected by it, has the same readings.
        .exclude(
            bottle__run__test__proportioner=test.proportioner_id,
            bottle__run__test__tested_on=test.tested_on,
        )
    )  # fmt: skip
    rows = Reading.objects.filter(
        bottle__bench__tests__in=alike.values("bottle__run__test"),
        set_aside_at=None, bottle__withdrawn_reason="",
    ).order_by(*BENCH_ORDER)  # fmt: skip
    series: dict[tuple[str, Any], list[Any]] = {}
    for of, run_test, tag, on, value, temperature in rows.values_list(
        "bottle__bench__tests", "bottle__run__test", "bottle__bench__tests__proportioner__tag",
        "bottle__bench__tests__tested_on", "value", "temperature_c",
    ):  # fmt: skip
        if run_test in (None, of):  # a shared bottle, or a sample of that very test
            series.setdefault((tag, on), []).append((value, temperature))
    return series


def _other_liquid(test: ProportioningTest, bench: Bench) -> Iterable[Circumstance]:
    """Water or concentrate that reads as it never did here, and perhaps as next door it does."""
    meter, lot = bench.instrument, bench.lot_id
    before = _latest_readings(test, meter)
    for role, what in LIQUIDS.items():
        bottles = [b for b in bench.bottles.all() if b.role == role]
        now = [float(r.value) for b in bottles for r in in_force(b)]
        known = [one for one in before if one["role"] == role]
        here = next((one for one in known if one["device"] == test.proportioner_id), None)
        if not now or here is None or _alike(meter, fmean(now), here["mean"]):
            continue
        if role == CONCENTRATE and lot is not None and here["lot"] not in (None, lot):
            continue  # another lot may read otherwise
        shown = _digits(meter)
        sentence = (
            f"{what} reads {fmean(now):{shown}}, and {here['mean']:{shown}} in the test of "
            f"{here['tag']} on {day(here['on'])}."
        )
        like = [
            f"{one['tag']} ({one['mean']:{shown}} on {day(one['on'])})"
            for one in known
            if one is not here and _alike(meter, fmean(now), one["mean"])
        ]
        sentence += (
            f" So it does at {', '.join(like)}: see that the bottle and the record are of one "
            "system."
            if like
            else " Another liquid in the tank, another bottle, or another scale: find out which."
        )
        yield Circumstance("Bench", sentence)


def _latest_readings(test: ProportioningTest, meter: Instrument) -> list[dict[str, Any]]:
    """Means of water and concentrate in the latest earlier record of each device of the site."""
    latest = LatestRecord.objects.filter(
        proportioner__system__site=test.site_id, tested_on__lt=test.tested_on
    )
    rows = Reading.objects.filter(
        bottle__bench__tests__in=latest.values("test"), bottle__role__in=LIQUIDS,
        bottle__bench__instrument__method=meter.method,
        bottle__bench__instrument__unit=meter.unit,
        set_aside_at=None, bottle__withdrawn_reason="",
    ).order_by("bottle__bench__tests__proportioner__tag", "pk")  # fmt: skip
    found: dict[tuple[int, str], dict[str, Any]] = {}
    for device, tag, on, lot, role, value in rows.values_list(
        "bottle__bench__tests__proportioner", "bottle__bench__tests__proportioner__tag",
        "bottle__bench__tests__tested_on", "bottle__bench__lot", "bottle__role", "value",
    ):  # fmt: skip
        one = found.setdefault(
            (device, role),
            {"device": device, "tag": tag, "on": on, "lot": lot, "role": role, "values": []},
        )
        one["values"].append(float(value))
    return [one | {"mean": fmean(one["values"])} for one in found.values()]


def _alike(meter: Instrument, now: float, then: float) -> bool:
    if meter.method in APART:
        return abs(now - then) <= APART[meter.method]
    return min(now, then) > 0 and max(now, then) / min(now, then) <= APART_RATIO


def _digits(meter: Instrument) -> str:
    decimals = max(0, -int(meter.resolution.normalize().as_tuple().exponent))
    return f".{decimals}f"
