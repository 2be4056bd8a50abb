"""The bench of a report: instrument, standards as made, the line, and every reading in order."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from calc.checks import LEVEL
from itm.core.clock import AHEAD
from itm.core.figures import chance, figure, plainly
from itm.reports.content_direct import NONE, is_direct, on_baselines, on_meters
from itm.reports.content_kept import licence_ended
from itm.reports.content_results import WarningLine
from itm.reports.curve import in_force, mean, quantity
from itm.reports.density import NOBODY_SAYS, density_words
from itm.reports.wording import Fact, SiteClock, decimals, facts, iso_day, signed

NO_UNIT = {"refractive_index": "nD"}
OUT_OF_DATE = "Out of date"


@dataclass(frozen=True)
class StandardLine:
    """A known mixture: as made, as read, and how far it stands off the line."""

    label: str
    role: str
    made_of: str
    percent: str
    reading: str
    on_line: str
    difference: str


@dataclass(frozen=True)
class ReadingLine:
    number: int
    bottle: str
    value: str
    temperature: str
    read: str
    by: str
    aside: str  # why it is set aside, by whom and when; empty for a reading in force


def instrument(document: dict[str, Any], clock: SiteClock) -> tuple[Fact, ...]:
    bench = document["bench"]
    meter = bench["instrument"]
    unit = meter["unit"] or NO_UNIT.get(bench["method"], "")
    repeatability = f"{meter['repeatability']} {unit}" if meter["repeatability"] else "not stated"
    return facts(
        ("Instrument", f"{meter['name']}, serial number {meter['serial_number']}"),
        ("Quantity read", quantity(document)),
        ("Resolution", _resolution(meter, unit)),
        ("Repeatability", f"{repeatability}, standard deviation of one reading"
         if meter["repeatability"] else repeatability),
        ("From its own records", own_records(document, unit)),
        ("Temperature", temperature(document)),
        Fact("Certificate", _proof(meter), certificate(document, clock)),
    )  # fmt: skip


def _resolution(meter: dict[str, Any], unit: str) -> str:
    step = f"{meter['resolution']} {unit}"
    if not (division := meter.get("division")):
        return step
    return (
        f"{step}, read by eye between marks {division} {unit} apart; taken as a triangle of one "
        "such step to either side (JCGM 100, 4.3.9)"
    )


def own_records(document: dict[str, Any], unit: str) -> str:
    """What the instrument's sealed benches said of its scatter when this was evaluated."""
    known = inputs(document).get("instrument", {}).get("repeatability_history")
    if not known:
        return ""
    return (
        f"{plainly(known['standard_deviation'], 2)} {unit}, standard deviation of one reading by "
        f"{known['degrees_of_freedom']:g} repeats on sealed benches before"
    )


def temperature(document: dict[str, Any]) -> str:
    if said := document["bench"].get("compensation"):
        return f"compensation {said}; {_corrected(document)}"
    return _corrected(document)


def _corrected(document: dict[str, Any]) -> str:
    if document["bench"]["instrument"]["temperature_compensated"]:
        return "compensated by the instrument"
    to_c = inputs(document).get("correct_to_c")
    if to_c is None:
        return "not compensated; readings stand as read"
    return (
        f"not compensated; the evaluation takes every reading as it would be at {to_c:g} °C, the "
        "undiluted concentrate as read"
    )


def inputs(document: dict[str, Any]) -> dict[str, Any]:
    """The engine's form, where there is a result."""
    found: dict[str, Any] = (document["evaluation"] or {}).get("inputs", {})
    return found


def _proof(meter: dict[str, Any]) -> str:
    """Number, laboratory and day; the older form of a record has the number alone."""
    issued_on = meter.get("certificate_issued_on")
    parts = [meter["certificate"], meter.get("laboratory", ""), issued_on and iso_day(issued_on)]
    return ", ".join(filter(None, parts)) or "none on record"


def certificate(document: dict[str, Any], clock: SiteClock) -> str:
    """What is to be said of the certificate on the days of the readings."""
    meter = document["bench"]["instrument"]
    due = meter["certificate_due_on"]
    if not due:
        return "no due date on record" if meter["certificate"] else ""
    days = [
        clock.date(reading["read_at"])
        for bottle in document["bench"]["bottles"]
        for reading in bottle["readings"]
    ]
    if days and date.fromisoformat(due) < max(days):
        return f"{OUT_OF_DATE}: it was due on {iso_day(due)}, before the reading."
    return f"due on {iso_day(due)}, after the readings"


def remarks(document: dict[str, Any], clock: SiteClock) -> tuple[WarningLine, ...]:
    """What the engine cannot know: an instrument out of date, a tank whose contents are in doubt,
    standards from another lot. Accepted and said, never silently."""
    tank, bench = document["tank"], document["bench"] or document["direct"]
    said = [WarningLine(f"tank {tank['tag']}", text) for text in tank.get("remarks", [])]
    said = [*_on_instruments(document, clock), *said]
    said += [
        WarningLine("standards" if document["bench"] else "concentrate", text)
        for text in bench.get("remarks", [])
    ]
    said += [_wrong_clock(one) for one in document["visit"].get("device_clocks", [])]
    said += [WarningLine(one["where"], one["text"]) for one in document.get("circumstances", [])]
    if ended := licence_ended(document, clock.tested_on):
        said.append(WarningLine("Signature", ended))
    return tuple(said)


def _on_instruments(document: dict[str, Any], clock: SiteClock) -> list[WarningLine]:
    if is_direct(document):
        return [
            WarningLine(where, text)
            for where, text in (*on_meters(document), *on_baselines(document))
        ]
    meter = document["bench"]["instrument"]
    if (words := certificate(document, clock)).startswith(OUT_OF_DATE):
        return [WarningLine(f"{meter['name']}, certificate {meter['certificate']}", words)]
    if not meter["certificate"] and not meter["certificate_due_on"]:
        return [WarningLine(meter["name"], NONE)]
    return []


def _wrong_clock(off: dict[str, Any]) -> WarningLine:
    """Shown and never corrected: nobody knows which of the two clocks a stamp needs."""
    minutes = abs(off["ahead_s"]) // 60
    lasted = f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
    times = "The times stand as it stamped them."
    if off["ahead_s"] > AHEAD.total_seconds():
        times = "No time that it stamped so was taken before a person had put it right."
    return WarningLine(
        f"a device of {off['person']}",
        f"Its clock was {lasted} {'ahead of' if off['ahead_s'] > 0 else 'behind'} that of the "
        f"server when its entries came in. {times}",
    )


def preparation(document: dict[str, Any]) -> tuple[Fact, ...]:
    bench = document["bench"]
    return facts(
        ("Concentrate", bench["lot"]),
        ("Test water", bench["water_source"]),
        ("Water of the discharge", bench.get("system_water_source", "")),
        ("Bottles were", bench.get("bottles_were", "")),
        ("Samples were kept", bench.get("samples_kept", "")),
        ("Standards are", bench.get("standards_by", "")),
        ("Density of the concentrate", density(bench)),
        ("Measured with", bench["glassware"]),
        ("Batch", f"{bench['batch_volume_ml']} mL" if bench["batch_volume_ml"] else ""),
        ("Notes on the bench", bench["notes"]),
    )


def standards(document: dict[str, Any]) -> tuple[StandardLine, ...]:
    """Water, standards and concentrate; the table beside the plot."""
    line = document["evaluation"]["result"]["line"]
    return tuple(
        _standard(bottle, line)
        for bottle in document["bench"]["bottles"]
        if bottle["flow_point"] is None
    )


def _standard(bottle: dict[str, Any], line: dict[str, float]) -> StandardLine:
    percent, read = bottle["percent"], mean(bottle)
    digits = 1 + max((decimals(r["value"]) for r in in_force(bottle)), default=0)
    fitted = percent is not None and percent < 100 and read is not None
    on_line = line["intercept"] + line["slope"] * percent if fitted else 0.0
    made = _made_of(bottle)
    return StandardLine(
        label=bottle["label"],
        role=bottle["role"],
        made_of=made,
        percent="" if percent is None else f"{percent:.3f}" if made else f"{percent:g}",
        reading="" if read is None else f"{read:.{digits}f}",
        on_line=f"{on_line:.{digits}f}" if fitted else "",
        difference=signed(read - on_line, digits) if fitted and read is not None else "",
    )


def density(bench: dict[str, Any]) -> str:
    """What made volumes of the grams of weighed standards; older forms know none."""
    if not (said := bench.get("density")):
        return ""
    return density_words(
        said, at=bench.get("density_at", ""), error=bench.get("density_error", ""),
        source=bench.get("density_from", ""), otherwise=NOBODY_SAYS,
    )  # fmt: skip


def _made_of(bottle: dict[str, Any]) -> str:
    for unit in ("ml", "g"):
        concentrate, water = (bottle.get(f"{what}_{unit}") for what in ("concentrate", "water"))
        if concentrate or water:
            return f"{concentrate or 0} + {water or 0} {'mL' if unit == 'ml' else unit}"
    return ""


def line_words(document: dict[str, Any]) -> str:
    """The line in one sentence."""
    line = document["evaluation"]["result"]["line"]
    # Two digits beyond the display: what lies below is the dust of the arithmetic.
    digits = 2 + decimals(document["bench"]["instrument"]["resolution"])
    slope, intercept = plainly(line["slope"], 6), plainly(line["intercept"], 9)
    water = "in" if document["test"]["include_water"] else "left out of"
    return (
        f"Least squares, the same weight for each bottle, water {water} the fit: "
        f"reading = {intercept} + {slope} × percent; correlation "
        f"{figure(line['r'], (1.0,), fewest=5, most=8)}, residual standard deviation "
        f"{line['residual_sd']:.{digits}f}, {line['degrees_of_freedom']} degrees of freedom."
    )


def fit_words(document: dict[str, Any]) -> str:
    """Whether the bottles stand off the line by more than their own repeats explain."""
    result = document["evaluation"]["result"]
    if "lack_of_fit" not in result:  # an engine that did not look
        return ""
    lack = result["lack_of_fit"]
    if lack is None:
        return (
            "Lack of fit: not told apart from scatter, because no bottle of the line was read "
            "twice or no point is left over."
        )
    return (
        f"Lack of fit: the bottles vary about the line {plainly(lack['f'], 2)} times as much as "
        "their own repeats explain (ratio of variances); chance alone gives as much in "
        f"{chance(lack['probability'], LEVEL)} of 100 benches."
    )


def readings(document: dict[str, Any], clock: SiteClock) -> tuple[ReadingLine, ...]:
    """All readings in the order they were read, those set aside among them."""
    every = [
        (bottle, reading)
        for bottle in document["bench"]["bottles"]
        for reading in bottle["readings"]
    ]
    every.sort(key=lambda pair: (datetime.fromisoformat(pair[1]["read_at"]), pair[1]["sequence"]))
    return tuple(_reading(number, *pair, clock) for number, pair in enumerate(every, start=1))


def _reading(
    number: int, bottle: dict[str, Any], reading: dict[str, Any], clock: SiteClock
) -> ReadingLine:
    aside = reading["set_aside"]
    return ReadingLine(
        number=number,
        bottle=bottle["label"],
        value=reading["value"],
        temperature=reading["temperature_c"] or "not noted",
        read=clock.time(reading["read_at"]),
        by=reading["read_by"],
        aside=f"{aside['reason']} ({aside['by']}, {clock.time(aside['at'])})" if aside else "",
    )


def aside_count(lines: tuple[ReadingLine, ...]) -> str:
    count = sum(bool(line.aside) for line in lines)
    if not count:
        return f"{len(lines)} readings, none set aside."
    return f"{len(lines)} readings, {count} of them set aside: struck through and not in the fit."
