"""Every verb that an entry can have: on what, with which texts, and what it does.

One table: `entries.take` works by it, and the description of the interface is written from it.
"""

from calc import units
from itm.core.measures import TEMPERATURE
from itm.doors.deeds import bench, checks, discharge, effluent, restoring, visits
from itm.doors.verb import Field, Verb
from itm.doors.verbs_begin import BEGIN
from itm.doors.verbs_direct import DIRECT, HEAVY
from itm.doors.verbs_inspect import INSPECT
from itm.records.models import (
    Bench,
    ConcentrateCheck,
    ConcentrateSample,
    DirectSetup,
    FlowRun,
    ProportioningTest,
    RestorationLine,
    SampleValue,
)
from itm.records.models.density import DensityFrom
from itm.registry.models import ConcentrateLot
from itm.registry.properties import PROPERTIES

FLOW, PRESSURE, VOLUME = tuple(units.FLOW), tuple(units.PRESSURE), tuple(units.VOLUME)
SOURCES = tuple(FlowRun.FlowSource.values)
PURPOSES = tuple(ProportioningTest.Purpose.values)
METHODS = tuple(ProportioningTest.Method.values)
LIQUIDS = tuple(DirectSetup.Liquid.values)
PHASES = tuple(ProportioningTest.Phase.values)
OUTCOMES = tuple(value for value in RestorationLine.Outcome.values if value)
COMPENSATION, BOTTLES, KEPT, STANDARDS_BY, DENSITY_FROM = (
    tuple(value for value in choices.values if value)
    for choices in (
        Bench.Compensation, Bench.Bottles, Bench.Kept, Bench.StandardsBy, DensityFrom,
    )
)  # fmt: skip
YES_NO = ("True", "False")


REASON = Field("reason", "why", needed=True)
BY = Field("by", "who did it, where a paper names another than who hands it in")

VISIT = (
    Verb(
        "plan_visit", "A test day is planned at a site.", visits.plan_visit, "",
        (
            Field("site", "key of the site", needed=True),
            Field("planned_on", "2026-05-03", needed=True),
            Field("crew", "names of the crew"),
            Field("effluent_plan", "where the foam goes, and on whose paper"),
        ),
        makes="visit",
    ),
    Verb(
        "note_visit", "What is known of the day.", visits.note_visit, "visit",
        (
            Field("planned_on", "2026-05-03"),
            Field("crew", "names of the crew"),
            Field("effluent_plan", "where the foam goes, and on whose paper"),
            Field("ambient_c", "air temperature", units=tuple(TEMPERATURE)),
            Field("weather", "in words"),
            Field("coordinator", "impairment coordinator"),
        ),
        merges=True,
    ),
    Verb(
        "add_notice", "Somebody was told.", visits.add_notice, "visit",
        (
            Field("told", "who was told", needed=True),
            Field("how", "by telephone, in writing"),
            Field("reference", "number of the call or letter"),
            Field("told_at", "when, if not at the stamp of the entry"),
            BY,
        ),
        makes="notice",
    ),
    Verb(
        "start_test_day", "The first valve is moved: the system is out of service.",
        visits.start_test_day, "visit",
        (
            Field("reason", "why it goes out of service", needed=True),
            Field("coordinator", "impairment coordinator", needed=True),
            Field("started_at", "when, if not at the stamp of the entry"),
        ),
    ),
    Verb(
        "take_back_start", "Started by mistake: no valve has moved.", visits.take_back_start,
        "visit",
    ),
    Verb(
        "prepare_test", "A test with everything frozen before the first reading.",
        visits.prepare_test, "visit",
        (
            Field("proportioner", "key of the proportioner", needed=True),
            Field("purpose", "what it is for", needed=True, choices=PURPOSES),
            Field("method", "a bench if nothing is said", choices=METHODS),
            Field("liquid", "another liquid in place of concentrate: which", choices=LIQUIDS),
            Field("liquid_name", "of a surrogate: its name"),
            Field("phase", "as found if nothing is said", choices=PHASES),
            Field("adjusted", "as left: which parts were adjusted or renewed"),
            Field("flow_points", "keys; all of the proportioner if nothing is said", listed=True),
            Field("bench", "key of a bench of the visit; “new” if nothing is said"),
            Field("instrument", "of a new bench: key of the instrument"),
            Field("lot", "of a new bench: key of the lot that its standards are made from"),
            Field("water_source", "of a new bench: where the test water was caught"),
            Field("glassware", "of a new bench: what the standards are measured with"),
            Field("batch_volume_ml", "of a new bench: mL of each standard, 200 if not said"),
            Field("correct_temperatures", "every reading to one temperature", choices=YES_NO),
            Field(
                "other_percent_because",
                "why it goes on although concentrate and proportioner are labelled with other "
                "percents",
            ),
            Field("notes", "anything else"),
        ),
        makes="test",
    ),
    Verb(
        "note_test", "What of a prepared test is not frozen.", visits.note_test, "test",
        (
            Field("purpose", "what it is for", choices=PURPOSES),
            Field("adjusted", "as left: which parts were adjusted or renewed"),
            Field("correct_temperatures", "every reading to one temperature", choices=YES_NO),
            Field("notes", "anything else"),
        ),
        merges=True,
    ),
    Verb(
        "add_run", "A flow point that was left out is run after all.", visits.add_run, "test",
        (Field("flow_point", "key of the flow point", needed=True),),
    ),
    Verb("hand_in", "The test goes to whoever signs it.", visits.hand_in, "test"),
)  # fmt: skip

DISCHARGE = (
    Verb(
        "note_run", "What was measured at a flow point.", discharge.note_run, "run",
        (
            Field("inlet_pressure", "at the proportioner, while it flows", units=PRESSURE),
            Field("solution_flow", "together with where it comes from", units=FLOW),
            Field("flow_source", "where the flow comes from", choices=SOURCES),
            Field(
                "outlets",
                "read by pitot, in place of solution_flow: each as inside diameter, coefficient "
                "and pitot pressure, such as “38 mm; 0.90; 2.1 bar”",
                listed=True,
            ),
            Field("level_before", "in the tank before", units=VOLUME),
            Field("level_after", "in the tank after", units=VOLUME),
        ),
        merges=True,
    ),
    Verb("foam_seen", "Foam came out: the sampling clock starts.", discharge.foam_seen, "run"),
    Verb("take_back_foam", "Pressed too early.", discharge.take_back_foam, "run"),
    Verb(
        "add_sample", "A bottle was filled.", discharge.add_sample, "run",
        (Field("label", "as it stands on the bottle; the next one if nothing is said"),),
        makes="bottle",
    ),
    Verb(
        "withdraw_sample", "Stamped by mistake.", discharge.withdraw_sample, "bottle", (REASON,)
    ),
    Verb("bring_back_sample", "It counts again.", discharge.bring_back_sample, "bottle"),
    Verb(
        "flush_done", "The next step of stop and flush is done.", discharge.flush_done, "step",
        (BY,),
    ),
    Verb("flush_undone", "The last step is taken back.", discharge.flush_undone, "step"),
)  # fmt: skip

RESTORE = (
    Verb(
        "end_line", "A line of the restoration list ends as it truly is.", restoring.end_line,
        "line",
        (
            Field("outcome", "how it ended", needed=True, choices=OUTCOMES),
            Field("reason", "left out: why it stays out of service"),
            Field("handed_to", "left out: who has it in writing"),
            Field("handed_at", "left out: when, if not at the stamp of the entry"),
            BY,
        ),
    ),
    Verb("reopen_line", "Ended by mistake.", restoring.reopen_line, "line"),
    Verb(
        "put_back", "What was left out of service is in place.", restoring.put_back, "line",
        (Field("reason", "anything worth saying"),),
        makes="line",
    ),
)  # fmt: skip

BENCH = (
    Verb(
        "set_out_bench", "Water, standards and concentrate stand on the bench; their keys are told "
        "beforehand.", bench.set_out_bench, "test",
        (
            Field(
                "standards", "none for a bench whose standards are added one by one",
                choices=(bench.USUAL, bench.NONE),
            ),
        ),
    ),
    Verb(
        "add_system_water", "The water that went through the system, where it is another.",
        bench.add_system_water, "test",
    ),
    Verb(
        "add_standard", "One more known mixture.", bench.add_standard, "test",
        (
            Field("target_percent", "percent wanted, by volume of the whole", needed=True),
            Field("label", "as it stands on the glass; left out, the next number is given"),
        ),
        makes="bottle",
    ),
    Verb(
        "set_volumes", "What was really poured into a standard; both volumes, or both empty.",
        bench.set_volumes, "bottle",
        (
            Field("concentrate_ml", "mL of concentrate as measured", needed=True),
            Field("water_ml", "mL of water as measured", needed=True),
        ),
        merges=True,
    ),
    Verb(
        "set_masses", "What was really weighed into a standard in place of volumes; both masses, "
        "or both empty.", bench.set_masses, "bottle",
        (
            Field("concentrate_g", "g of concentrate as weighed", needed=True),
            Field("water_g", "g of water as weighed", needed=True),
        ),
        merges=True,
    ),
    Verb(
        "withdraw_standard", "Not used after all.", bench.withdraw_standard, "bottle", (REASON,)
    ),
    Verb(
        "note_bench", "Water, glassware, settings and notes of the bench.", bench.note_bench,
        "test",
        (
            Field("water_source", "where the test water was caught"),
            Field("system_water_source", "where the water of the discharge came from"),
            Field("compensation", "how the instrument was set", choices=COMPENSATION),
            Field("bottles_were", "before they were filled", choices=BOTTLES),
            Field("samples_kept", "until they were read", choices=KEPT),
            Field("standards_by", "mass where standards are weighed", choices=STANDARDS_BY),
            Field("density", "of the concentrate, for weighed standards", units=HEAVY),
            Field("density_at", "temperature of that density", units=tuple(TEMPERATURE)),
            Field("density_error", "it may be off by, either way", units=HEAVY),
            Field("density_from", "where it comes from", choices=DENSITY_FROM),
            Field("glassware", "what the standards are measured with"),
            Field("notes", "anything else"),
        ),
        merges=True,
    ),
    Verb(
        "add_reading", "What the display showed, once.", bench.add_reading, "bottle",
        (
            Field("value", "every digit of the display", needed=True),
            Field("temperature", "°C, of the liquid"),
        ),
        makes="reading",
    ),
    Verb(
        "set_aside", "Out of the fit, kept with its reason.", bench.set_aside, "reading", (REASON,)
    ),
    Verb(
        "bring_back_reading", "Back into the fit.", bench.bring_back_reading, "reading"
    ),
)  # fmt: skip

CHECK_PURPOSES = tuple(ConcentrateCheck.Purpose.values)
POINTS = tuple(ConcentrateSample.Point.values)
HELD_AGAINST = (
    Field("programmes", "codes of limits beside those of the certificate", listed=True),
    Field("u_refractive_index", "standard uncertainty of an index beside the certificate"),
    Field("u_density", "standard uncertainty of a density beside the certificate, kg/m³"),
)
CHECK_NOTES = (
    Field("circulated", "the tank was circulated before the bottles were filled", choices=YES_NO),
    Field("notes", "anything else"),
)
CHECK = (
    Verb(
        "begin_check", "A concentrate check; what it is held against is frozen now.",
        checks.begin_check, "tank",
        (
            Field("checked_on", "day of the bottles; that of the stamp if nothing is said"),
            Field("purpose", "what it is for", needed=True, choices=CHECK_PURPOSES),
            *HELD_AGAINST,
            *CHECK_NOTES,
        ),
        makes="check",
    ),
    Verb(
        "note_check", "What is known of the check; what it is held against before any value only.",
        checks.note_check, "check",
        (
            Field("checked_on", "day of the bottles"),
            Field("purpose", "what it is for", choices=CHECK_PURPOSES),
            *HELD_AGAINST,
            *CHECK_NOTES,
        ),
        merges=True,
    ),
    Verb(
        "add_check_sample", "A bottle was filled at a point of the tank.", checks.add_check_sample,
        "check",
        (
            Field("point", "where it was filled", needed=True, choices=POINTS),
            Field("label", "as it stands on the bottle; the next of its point if nothing is said"),
            Field("taken_at", "when, if not at the stamp of the entry"),
            Field("look", "colour, smell, layers, sediment"),
        ),
        makes="sample",
    ),
    Verb(
        "note_check_sample", "What is known of a bottle, and its way to the laboratory.",
        checks.note_check_sample, "sample",
        (
            Field("label", "as it stands on the bottle"),
            Field("point", "where it was filled", choices=POINTS),
            Field("taken_at", "when it was filled"),
            Field("look", "colour, smell, layers, sediment"),
            Field("laboratory", "where it was sent"),
            Field("sent_on", "2026-05-04; sending it completes nothing"),
            Field("consignment", "number of the dispatch"),
            Field("received_on", "day it reached the laboratory"),
        ),
        merges=True,
    ),
    Verb(
        "withdraw_check_sample", "Broken, lost or wrongly filled.", checks.withdraw_check_sample,
        "sample", (REASON,),
    ),
    Verb(
        "bring_back_check_sample", "It counts again.", checks.bring_back_check_sample, "sample"
    ),
    Verb(
        "add_value", "What was measured of one property of a bottle, once.", checks.add_value,
        "sample",
        (
            Field("property", "which", needed=True, choices=tuple(PROPERTIES)),
            Field("value", "every digit, and the unit where the property has one", needed=True),
            Field("temperature", "°C, of the liquid"),
            Field(
                "origin", "own if nothing is said; a laboratory's needs its report before the "
                "hand-in", choices=tuple(SampleValue.Origin.values),
            ),
            Field("method", "by what it was measured"),
            Field("measured_on", "2026-05-20, where that is noted"),
        ),
        makes="value",
    ),
    Verb("set_aside_value", "It counts no more, and stays.", checks.set_aside_value, "value",
         (REASON,)),
    Verb("bring_back_value", "It counts again.", checks.bring_back_value, "value"),
    Verb("hand_in_check", "The check goes to whoever signs it.", checks.hand_in_check, "check"),
)  # fmt: skip

EFFLUENT = (
    Verb(
        "note_effluent", "What was discharged, collected, not collected or hauled away on a test "
        "day that has begun.", effluent.note_effluent, "visit",
        (
            Field("kind", "which of these", needed=True, choices=tuple(effluent.KINDS.values)),
            Field("volume", "of liquid, not of foam", needed=True, units=VOLUME),
            Field("happened_on", "day; that of the stamp if nothing is said"),
            Field("percent", "discharged: % by volume of concentrate in it, if known"),
            Field(
                "pfas", "that of the tanks if nothing is said",
                choices=tuple(ConcentrateLot.Pfas.values),
            ),
            Field("place", "where it stands or went; needed of all that is not discharged"),
            Field("hauler", "hauled away: who took it"),
            Field("paper", "hauled away: number of the waste paper; not collected: of the consent"),
            Field("note", "anything else"),
        ),
        makes="effluent",
    ),
    Verb(
        "withdraw_effluent", "Noted wrongly: it counts no more, and stays.",
        effluent.withdraw_effluent, "effluent", (Field("because", "what was wrong", needed=True),),
    ),
)  # fmt: skip

VERBS = {
    verb.name: verb
    for verb in (*VISIT, *BEGIN, *DIRECT, *DISCHARGE, *RESTORE, *BENCH, *CHECK, *EFFLUENT, *INSPECT)
}
