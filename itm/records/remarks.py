"""What experience says about a test while it can still be mended. Remarks refuse nothing."""

from datetime import date, datetime, timedelta
from decimal import Decimal

from itm.core.figures import day
from itm.records.models import Bottle, FlowRun, ProportioningTest
from itm.records.outlets import outlet, told
from itm.records.plausible import figure_remarks
from itm.records.queries import Previous
from itm.records.rule import FrozenRule, band_text
from itm.records.weighing import weighed_remarks
from itm.registry.book import lines_of
from itm.registry.certificates import certificate_on, ran_out
from itm.registry.contents import Contents, as_of, bare, differences
from itm.registry.models import ConcentrateLot, Instrument, Proportioner, Site, Tank

# Common practice, no published source: how long the mixture takes to settle.
SETTLING = timedelta(seconds=30)
LOW_PITOT = 70e3  # Pa, about 10 psi: NFPA 291, from memory
STEPS_WANTED = 3  # of the display within the band; as the engine's resolution_coarse


def run_remarks(run: FlowRun, samples: list[Bottle]) -> list[str]:
    """On the flow and the samples of one flow point."""
    out = [*flow_remarks(run)]
    if run.test.is_direct:
        return out
    wanted = run.test.samples_wanted
    if (missing := wanted - len(samples)) > 0:
        out.append(
            f"At least {wanted} sample{'s'[: wanted > 1]}, 15 to 30 s apart, show whether the "
            f"mixture was steady (common practice): {missing} to go."
        )
    return out


def flow_remarks(run: FlowRun) -> list[str]:
    out = []
    if run.flow_source == FlowRun.FlowSource.NAMEPLATE:
        out.append(
            "A flow from the nameplate was not measured: it is no evidence that this flow point "
            "was reached."
        )
    if low := [told(row) for row in run.outlets if outlet(row).pressure < LOW_PITOT]:
        out.append(
            f"{'; '.join(low)}: below about {LOW_PITOT / 1e3:.0f} kPa the stream does not fill the "
            "outlet and a pitot is no measure of it (NFPA 291, from memory): close outlets, or use "
            "smaller ones."
        )
    flow = run.solution_flow if run.solution_flow is not None else run.flow_point.flow
    if outside := outside_listing(run.test.proportioner, flow):
        out.append(outside)
    return [*out, *figure_remarks(run)]


def outside_listing(proportioner: Proportioner, flow: float) -> str:
    """Whether the flow lies outside what the maker lists for this device."""
    lowest, highest = proportioner.lowest_listed_flow, proportioner.highest_listed_flow
    if lowest is not None and flow < lowest:
        return (
            f"Below the lowest listed flow ({proportioner.lowest_listed_flow_typed}): a result "
            "here says nothing about the device."
        )
    if highest is not None and flow > highest:
        return (
            f"Above the highest listed flow ({proportioner.highest_listed_flow_typed}): a result "
            "here says nothing about the device."
        )
    return ""


def sample_remark(foam_seen_at: datetime | None, taken_at: datetime | None) -> str:
    """Whether the sample was caught before the mixture can have settled."""
    if taken_at is None:
        return ""
    if foam_seen_at is None:
        return "Foam has not been noted: nobody can tell how long the mixture had to settle."
    waited = taken_at - foam_seen_at
    if waited < timedelta(0):
        return "Caught before foam was noted: what is in it is water, or last time's solution."
    if waited < SETTLING:
        return (
            f"Caught {waited.seconds} s after foam was noted: under {SETTLING.seconds} s it may "
            "be lean or old solution (common practice; long pipes need longer)."
        )
    return ""


def known_slope(previous: list[Previous], instrument: Instrument) -> Previous | None:
    """The latest result whose line was read in the same unit, so that its slope can be used."""
    for result in previous:
        if result.test.bench is None:  # a direct result has no line
            continue
        read_with = result.test.bench.instrument
        same = (read_with.method, read_with.unit) == (instrument.method, instrument.unit)
        if same and result.slope:
            return result
    return None


def steps_in_band(instrument: Instrument, rule: FrozenRule, slope: float) -> float:
    """How many steps of the display, or of the reading by eye, lie between the limits."""
    width = float(rule.narrowest.upper - rule.narrowest.lower)
    return abs(slope) * width / float(instrument.resolution)


def can_settle(instrument: Instrument, rule: FrozenRule, previous: list[Previous]) -> str:
    """In a sentence, what this instrument can tell apart on this proportioner."""
    known = known_slope(previous, instrument)
    if known is None or not known.slope:
        return "No sealed result of this kind yet: the slope, and with it the steps, is not known."
    steps = steps_in_band(instrument, rule, known.slope)
    band = band_text(rule.narrowest.lower, rule.narrowest.upper)
    sentence = f"divides the band {band} into {steps:.1f} steps of its display"
    if instrument.interpolated:
        sentence = (
            f"divides the band {band} into {steps:.1f} steps of its scale, "
            f"read to {instrument.steps_in_words}"
        )
    if steps < STEPS_WANTED:
        sentence += "; expect undecided near a limit. Finer decimals, or conductivity, settle more"
    return f"{sentence} (slope of the result of {day(known.tested_on)})."


def remarks_on(test: ProportioningTest) -> list[str]:
    """On the concentrate and the instruments that the test rests on."""
    tank, on = test.drawn_from, test.tested_on
    lot = test.bench.lot if test.bench else None
    held = as_of(lines_of(tank), on)
    return [
        *instrument_remarks(test),
        *lot_remarks(test.nominal_percent, tank, held, lot, on),
        *(weighed_remarks(test.bench, held) if test.bench else ()),
        *held.remarks,
    ]


def lot_remarks(
    nominal: Decimal, tank: Tank, held: Contents, lot: ConcentrateLot | None, on: date
) -> list[str]:
    """On what the standards were made from, beside what the tank held that day and what the
    proportioner is for. `nominal` in percent by volume."""
    out = other_nominals(nominal, held, lot)
    if lot is not None and lot.expires_on is not None and lot.expires_on < on:
        out.append(f"The lot {lot} expired on {day(lot.expires_on)}.")
    if lot is not None and lot.pk not in {part.lot.pk for part in held.parts}:
        out.append(
            f"By what is noted nothing of {lot} stands in {tank} on {day(on)}: standards made from "
            "it say little about what the proportioner draws."
        )
        if reasons := differences(held, lot):
            out.append(f"Tank and standards differ: {', '.join(reasons)}.")
    return out


def instruments_of(test: ProportioningTest) -> list[Instrument]:
    """Those of the contractor that the test is read with, each once."""
    if test.bench is not None:
        return [test.bench.instrument]
    setup = test.direct
    return list(dict.fromkeys(filter(None, (setup.concentrate_meter, setup.second_meter))))


def instrument_remarks(test: ProportioningTest) -> list[str]:
    """What its instruments could prove on that day: a reading is taken all the same, and the record
    says so, unless the owner takes no such result."""
    on, site = test.tested_on, test.site
    return [said for one in instruments_of(test) if (said := on_certificate(one, site, on))]


def on_certificate(instrument: Instrument, site: Site, on: date) -> str:
    """What its certificate leaves to say, or nothing."""
    proof = certificate_on(instrument, on)
    if proof is None:
        said = f"No calibration certificate of {instrument} is on record for {day(on)}."
    elif ran_out(proof, on):
        said = f"The certificate {proof} of {instrument} ran out on {day(proof.due_on)}."
    else:
        return ""
    if site.certificate_needed:
        said += f" The owner of {site} takes no result read with it: take another instrument."
    return said


def other_nominals(nominal: Decimal, held: Contents, lot: ConcentrateLot | None) -> list[str]:
    """Where the label of the standards' lot, or of what stands in the tank, has another percent
    than the proportioner."""
    labelled = {str(part.lot): part.lot.nominal_percent for part in held.parts}
    if lot is not None:
        labelled[str(lot)] = lot.nominal_percent
    return [
        f"{name} is labelled {bare(percent)} %, the proportioner {bare(nominal)} %. Find out which "
        "is right before the first reading: some concentrates have one percent for hydrocarbons "
        "and another for polar solvents."
        for name, percent in labelled.items()
        if percent != nominal
    ]
