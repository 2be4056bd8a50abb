"""Verbs of direct tests: meters or vessel once, and what was read at each flow point."""

from calc import units
from itm.core.measures import LENGTH
from itm.doors.deeds import direct
from itm.doors.verb import Field, Verb
from itm.records.direct_forms import DENSITY
from itm.records.models import DirectRun, DirectSetup
from itm.records.models.density import DensityFrom

FLOW, VOLUME = tuple(units.FLOW), tuple(units.VOLUME)
SIZE = tuple(LENGTH)
SHARE = ("%",)
MASS, HEAVY = tuple(units.MASS), tuple(DENSITY)
DENSITY_FROM = tuple(DensityFrom.values)
METER_IN, READ_FROM = tuple(DirectSetup.MeterIn.values), tuple(DirectRun.Source.values)
SHAPES, HEADS = tuple(DirectSetup.Shape.values), tuple(DirectSetup.Heads.values)
READ, SECOND_READ = tuple(DirectRun.Read.values), tuple(DirectRun.SecondRead.values)
DIRECT = (
    Verb(
        "note_setup", "With what a direct test is measured, for all its flow points.",
        direct.note_setup, "test",
        (
            Field("concentrate_meter", "in the concentrate line: key of the instrument"),
            Field("concentrate_fitted", "or a meter of the site, in words"),
            Field("concentrate_accuracy", "may be off by, of its reading", units=SHARE),
            Field("meter_in", "where the second meter sits", choices=METER_IN),
            Field("second_meter", "the second meter: key of the instrument"),
            Field("second_fitted", "or a meter of the site, in words"),
            Field("second_accuracy", "may be off by, of its reading", units=SHARE),
            Field("shape", "of the vessel", choices=SHAPES),
            Field("heads", "of a cylinder", choices=HEADS),
            Field("diameter", "inside", units=SIZE),
            Field("length", "inside, of a cylinder without its heads", units=SIZE),
            Field("width", "inside", units=SIZE),
            Field("height", "inside", units=SIZE),
            Field("level_step", "one step of the level scale", units=SIZE),
            Field("scale", "under the tank or drum, in words"),
            Field("scale_step", "one step of that scale", units=MASS),
            Field("scale_error", "it may be off by, either way", units=MASS),
            Field("density", "of the concentrate", units=HEAVY),
            Field("density_error", "it may be off by, either way", units=HEAVY),
            Field("density_from", "where it comes from", choices=DENSITY_FROM),
        ),
        merges=True,
    ),
    Verb(
        "note_measured", "What was read at a flow point of a direct test.", direct.note_measured,
        "run",
        (
            Field("level_before", "from the lowest point inside", units=SIZE),
            Field("level_after", "from the lowest point inside", units=SIZE),
            Field("mass_before", "on the scale, with whatever stands on it", units=MASS),
            Field("mass_after", "on the scale", units=MASS),
            Field(
                "duration",
                "between two levels, two weights or two totaliser readings: 2:30, or 150 s",
            ),
            Field("concentrate_source", "a nameplate is no evidence", choices=READ_FROM),
            Field("concentrate_read", "a flow or a totaliser", choices=READ),
            Field("concentrate_flow", "in the concentrate line", units=FLOW),
            Field("concentrate_start", "totaliser before", units=VOLUME),
            Field("concentrate_end", "totaliser after", units=VOLUME),
            Field(
                "second_read", "“discharge” if nothing is said: the solution flow of the run",
                choices=SECOND_READ,
            ),
            Field("second_source", "a nameplate is no evidence", choices=READ_FROM),
            Field("second_flow", "of the second meter", units=FLOW),
            Field("second_start", "totaliser before", units=VOLUME),
            Field("second_end", "totaliser after", units=VOLUME),
            Field("beside_on", "day on which this liquid was read beside the foam, 2026-05-03"),
            Field("beside_source", "where that is written"),
            Field("beside_liquid_flow", "of this liquid then", units=FLOW),
            Field("beside_second_flow", "of the second meter then", units=FLOW),
        ),
        merges=True,
    ),
)  # fmt: skip
