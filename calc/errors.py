"""What the engine refuses and what it warns of: two closed lists, and the one place for words.

A code is stable and may be tested, stored and translated by its readers; a sentence may be
reworded at any time. Every refusal says what is wrong and what would be right.
"""

from dataclasses import dataclass, field
from typing import Any

REFUSALS = {
    # the input as a whole
    "usage": (
        "Write: python -m calc evaluate FILE, or - in place of FILE for standard input, with "
        "--lines before it for one test a line; other commands are {others}."
    ),
    "unreadable": "The input cannot be read ({why}); give a readable file or standard input.",
    "too_long": "The input is longer than {most} bytes; send one test at a time.",
    "empty_input": "The input is empty; send one JSON object that describes one test.",
    "not_utf8": "Byte {byte} is not UTF-8 text; save the input as UTF-8.",
    "not_json": "This is not JSON from line {line}, column {column} on; send one JSON object.",
    "nested_too_deep": "Lists or objects are nested too deep; keep to the form of a test.",
    "unwritable": "The result cannot be written ({why}); send it where it can be written.",
    # shape and kind of one entry
    "not_an_object": "This is {got}; give an object with the keys {keys}.",
    "not_a_list": "This is {got}; give a list with at least one entry.",
    "empty_list": "The list is empty; give at least one entry.",
    "not_a_number": "This is {got}; give a plain number, without quotes.",
    "not_finite": "This is not a finite number; give a number below 1.8e308 in size.",
    "integer_too_big": "This integer is too big to be kept exactly; give one below 2**53 in size.",
    "not_text": "This is {got}; give a name in quotes.",
    "blank_text": "The name is blank; give one that can be read.",
    "broken_text": "The name holds half of a character pair; give whole characters.",
    "not_a_flag": "This is {got}; give true or false, without quotes.",
    "missing_key": "This key is missing; add it{hint}.",
    "unknown_key": "The key {key} is not known here; the keys are {keys}.",
    "repeated_key": "This key is given twice; give it once.",
    "unknown_choice": "This is {got}; give one of {choices}.",
    "corrected_twice": (
        "This instrument compensates temperature itself; leave the common temperature out, or "
        "every reading would be corrected twice."
    ),
    "temperature_needed": (
        "A reading here has no temperature and cannot be corrected to the common one; note the "
        "temperature, or leave the common temperature out."
    ),
    # values that do not make a test
    "out_of_range": "This is {got}; give {want}.",
    "percent_or_volumes": (
        "A standard needs either percent, or both concentrate_ml and water_ml, or both "
        "concentrate_g and water_g; give exactly one way, for one standard is measured by volume "
        "or weighed."
    ),
    "nothing_mixed": "Both amounts are 0; give the amounts that went into this standard.",
    "foam_baseline_missing": (
        "Another liquid than concentrate has no percent of its own; give the baseline that was "
        "found with foam at this flow, or test with foam."
    ),
    "baseline_at_another_flow": (
        "This run is {apart:.0%} off the flow of its baseline, and the factor holds within "
        "{most:.0%}; give a baseline at this flow."
    ),
    "not_drained": (
        "A quarter of the liquid is {wanted:.4g} and the marks go from {least:.4g} to {most:.4g}; "
        "let it go on draining, and start to read before a quarter has drained."
    ),
    "density_missing": (
        "A mass says nothing about percent by volume without a density; give the density of the "
        "concentrate, from its certificate or weighed at this temperature."
    ),
    "not_in_table": (
        "{got:g} mL is not among the sizes of a {kind}; give one of {sizes} mL, or the tolerance "
        "that stands on the tool."
    ),
    "limits_out_of_order": (
        "The limits are {lower} and {upper}; give 0 <= lower < upper <= 100, in percent."
    ),
    "baseline_missing": (
        "This criterion compares with the acceptance test; give its percent at this flow point."
    ),
    "baseline_too_far": (
        "With this baseline the limits would be {lower} and {upper}, which leaves no band; look "
        "at the acceptance test, or use another criterion."
    ),
    "nominal_not_named": (
        "This criterion says nothing about {got} %; it names {known} %. Give limits instead."
    ),
    "repeated_name": "The name {name} is already taken by {other}; give each sample its own name.",
    "too_few_standards": "There is only {count} standard; give at least 2.",
    "too_few_percents": (
        "The line would rest on {count} different percents; it needs at least 3, counting water "
        "as 0 % when it is in the fit."
    ),
    "flat_line": (
        "The readings do not change with percent, so nothing can be read off; check the standards "
        "or use an instrument with finer steps."
    ),
    "falling_line": (
        "The readings fall as percent rises; check that standards and water were not swapped."
    ),
    "falling_conductivity": (
        "Conductivity falls as percent rises, which really happens in sea or brackish water; "
        "use the refractive index instead, or check that no bottles were swapped."
    ),
    "no_spread": "All points of the line have the same percent; give different ones.",
    "too_few_points": "There are {count} points; this needs at least {least}.",
    "shapes_differ": "The lists differ in length; give one reading for each percent.",
    "not_a_date": (
        "{got} is no date from {first} to {last}; give year, month and day like 2026-11-30."
    ),
    "limits_reversed": "The limits are {lower} and {upper}; give the lower one first.",
    "lot_or_fills": (
        "Index and density are given for the lot and for the fills; give them for one of the two."
    ),
    "nothing_measured": "Nothing was measured on this sample; give at least one of {keys}.",
    "unused_look": "No cause is about {got}; give a place to look at that a cause names.",
    "like_water": (
        "In this property the lot is too much like water to tell them apart; use another property."
    ),
    "empty_range": "Give lowest, highest or both, the lowest first.",
    "too_many_points": "There are {count} results; give at most {most} at a time.",
    "same_time": "Two results have the same time; give their mean, or two different times.",
    "beyond_numbers": (
        "The arithmetic leaves the range of numbers here; check the size and the unit of the "
        "readings and of the resolution."
    ),
}

WARNINGS = {
    "not_steady": (
        "The {count} bottles of this flow point lie up to {apart:.2g} points apart, more than "
        "they may ({allowed:.2g} points): the flow was not steady, or a bottle is not "
        "what it says. Each bottle stands for itself; take the flow point again."
    ),
    "repeats_apart": (
        "The {count} readings of this bottle lie {apart:.3g} apart, more than this instrument's "
        "readings of one liquid ({allowed:.3g}): a bubble, a prism not washed, or a bottle not "
        "stirred. Read it again; keep every reading."
    ),
    "temperature_odd": (
        "A bottle at {temperature:g} °C is hardly possible on a bench. Check whether the reading "
        "was in °F."
    ),
    "not_an_index": (
        "The mean here is {mean:.6g}, which is no refractive index of water or foam solution. "
        "Check whether it was read on a Brix scale."
    ),
    "index_as_brix": (
        "These readings lie where refractive indices lie ({mean:.6g} for water), yet are said to "
        "be Brix. Check the scale of the instrument."
    ),
    "not_brix": (
        "Water reads {mean:.6g} % Brix here, which no test water does. Check the scale and the "
        "zero of the instrument."
    ),
    "temperature_corrected": (
        "This bottle was read up to {apart:.1f} °C away from {to_c:g} °C and is corrected to it, "
        "which moves it {way} by {points:.2g} points. Reading all bottles at one temperature is "
        "better than any correction."
    ),
    "lack_of_fit": (
        "The bottles lie off the line by more than their own repeated readings explain (variance "
        "ratio {f:.3g}, beyond chance at the {level:.0%} level). Make fresh standards: these were "
        "not mixed or not stirred alike."
    ),
    "standards_strong": (
        "By water and undiluted concentrate the standards are {off:.3g} % stronger than written "
        "(± {unsure:.2g} %). They hold another concentrate than this bottle, or too little water; "
        "or the bottle comes from a tank in which about {left:.0%} is concentrate still. Find out "
        "which before the percent is relied on."
    ),
    "standards_weak": (
        "By water and undiluted concentrate the standards are {off:.3g} % weaker than written "
        "(± {unsure:.2g} %): liquid left in the pipette, or concentrate added to the full volume "
        "of water. Every percent here reads that much too high. Make fresh standards by weight or "
        "with a syringe."
    ),
    "temperature_mismatch": (
        "This bottle was read {apart:.1f} °C {side} than the standards on average and nothing is "
        "corrected; that is worth about {points:.2g} points and makes it look {looks}. Bring all "
        "bottles to one temperature and read again."
    ),
    "temperature_decides": (
        "As read this is {percent:.4g} % ({limits}); with all bottles at one temperature it would "
        "be about {at_one:.4g} % ({limits_at_one}): the answer hangs on the temperature. Bring all "
        "bottles to one temperature and read again."
    ),
    "water_drifted": (
        "The same water reads {points:.2g} points {way} at the end than at the beginning, more "
        "than its readings scatter ({allowed:.2g} points): the meter or its temperature moved "
        "while the bottles were read. Read the whole bench again."
    ),
    "waters_differ": (
        "The water of the test reads {points:.2g} points {way} than that of the standards, more "
        "than readings scatter ({allowed:.2g} points): no line holds for both. Make the standards "
        "from the water of the test and read them again."
    ),
    "density_elsewhere": (
        "The density of the concentrate is that of {at:.1f} °C and the standards were read at "
        "{read:.1f} °C on average: of a liquid that expands twice as much as water every percent "
        "is off by about {share:.1g} % of itself. Give the density at the temperature of the bench."
    ),
    "temperature_unknown": (
        "A reading here has no temperature, so a difference between the bottles cannot be seen. "
        "Note the temperature with each reading."
    ),
    "resolution_coarse": (
        "One step of the instrument is worth {step:.2g} points, over a third of the band of "
        "{width:.2g} points. Use an instrument with finer steps."
    ),
    "non_linear": (
        "The points bend: the t test of the quadratic term finds a curve at the {level:.0%} level "
        "(t = {t:.3g}, {dof} degrees of freedom). Look at the plot and make more standards near "
        "the samples."
    ),
    "not_monotonic": (
        "This bottle reads lower than a weaker one ({percent:.4g} % against {weaker:.4g} %). Check "
        "whether two bottles were swapped, and read both again."
    ),
    "extrapolation": (
        "{percent:.4g} % lies {beyond:.2g} points outside the fitted points, {lowest:.4g} to "
        "{highest:.4g} %. Make a standard beyond it."
    ),
    "outlier": (
        "This bottle stands off the line through the others: externally studentised residual "
        "{t:.3g}, beyond {critical:.3g} at the {level:.0%} level shared over {count} bottles "
        "(Bonferroni). Read it again; keep both readings."
    ),
    "water_decides": (
        "{used} the water point this is {percent:.4g} % ({limits}), the other way "
        "{other_percent:.4g} % ({other_limits}): the answer hangs on the water point. Read the "
        "water again and make another standard near the limit."
    ),
    "level_moved_little": (
        "The level sank by {moved:.3g} m, which is {steps:.2g} steps of its scale; under {least} "
        "steps the answer is mostly the reading of the scale. Run {more:.0f} s longer at this "
        "flow, and read the level again."
    ),
    "scale_moved_little": (
        "The scale went down by {moved:.3g} kg, which is {steps:.2g} of its steps; under {least} "
        "steps the answer is mostly the reading of the scale. Run {more:.0f} s longer at this "
        "flow, and weigh again."
    ),
    "water_needed": (
        "{used} the water point the readings rise with percent, the other way they do not: every "
        "answer hangs on the water point. Read the standards again or use finer steps."
    ),
}


def sentence(code: str, values: dict[str, Any]) -> str:
    """The words for a refusal or a warning; every sentence of the engine is made here."""
    words = REFUSALS.get(code) or WARNINGS[code]
    return words.format(**values)


def quoted(text: str, most: int = 40) -> str:
    """Text of a stranger for use inside a sentence: one line, printable, not long."""
    shown = "".join(c if c.isprintable() else "?" for c in text[:most])
    return f'"{shown}"' if len(text) <= most else f'"{shown}…"'


class CalcError(ValueError):
    """A refusal: a stable code, the place as a JSON path or an argument name, and numbers."""

    def __init__(self, code: str, where: str, **values: Any) -> None:
        self.code = code
        self.where = where
        self.values = values
        super().__init__(code, where)

    @property
    def message(self) -> str:
        return sentence(self.code, self.values)

    def __str__(self) -> str:
        return f"{self.where}: {self.message}"


@dataclass(frozen=True, slots=True)
class Warned:
    """A warning is data in the result; `where` is a JSON path into the input or the result."""

    code: str
    where: str
    values: dict[str, Any] = field(default_factory=dict)

    @property
    def message(self) -> str:
        return sentence(self.code, self.values)

    def as_dict(self) -> dict[str, str]:
        return {"code": self.code, "where": self.where, "message": self.message}
