"""The tables of results and readings, column by column."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from itm.intake.shared_columns import FLOWS, HUNDRED, SITE, SYSTEM, Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.records.models import Bottle, PastResult
from itm.records.models.density import DensityFrom
from itm.registry.models import Instrument
from itm.registry.properties import DENSITY

METHODS = spellings(
    PastResult.Method.choices, index="refractive_index", nd="refractive_index",
    ri="refractive_index", refractometer="refractive_index", meters="flows", flow_meters="flows",
    tank_level="draw_down",
)  # fmt: skip
PHASES = spellings(PastResult.Phase.choices, found="as_found", left="as_left")
PURPOSES = spellings(PastResult.Purpose.choices, annual="periodic", yearly="periodic")

HISTORY = Layout(
    Kind.HISTORY,
    "Results of past years",
    (
        SITE,
        SYSTEM,
        TableColumn(
            "proportioner", "name", "Proportioner", "PR-1", needed=True, longest=40,
            aliases=("tag", "device", "proportioner tag"), help="Its tag in the register.",
        ),
        TableColumn(
            "flow_point", "name", "Flow point", "design", needed=True, longest=40,
            aliases=("point", "test point", "flow rate point"),
            help="As the register names it, such as minimum or design.",
        ),
        TableColumn(
            "tested_on", "day", "Tested on", "2012-05-14", needed=True,
            aliases=("date", "test date", "date of test", "day"), help="Best as year-month-day.",
        ),
        TableColumn(
            "percent", "percent", "Percent", "3.12", needed=True, most=HUNDRED,
            aliases=("result", "concentration", "foam percent", "measured percent", "%"),
            help="Concentrate in the solution, by volume, as the paper reports it.",
        ),
        TableColumn(
            "flow", "quantity", "Solution flow", "1900 L/min", units=FLOWS,
            aliases=("flow rate", "solution flow"), help="With its unit, here or in the head.",
        ),
        TableColumn(
            "lower_limit", "percent", "Lower limit", "3.0", most=HUNDRED,
            aliases=("limits lower", "lower", "min limit"), help="As the paper names it.",
        ),
        TableColumn(
            "upper_limit", "percent", "Upper limit", "3.9", most=HUNDRED,
            aliases=("limits upper", "upper", "max limit"), help="As the paper names it.",
        ),
        TableColumn(
            "outcome", "text", "Outcome", "passed", longest=60, aliases=("verdict", "pass fail"),
            help="In the words of the paper.",
        ),
        TableColumn(
            "method", "choice", "Method", "refractive index", choices=METHODS,
            aliases=("read by", "test method"), help="How it was measured, where that is known.",
        ),
        TableColumn(
            "phase", "choice", "Phase", "as found", choices=PHASES, aliases=("condition",),
            help="“as found”, or “as left” after an adjustment; empty is as found.",
        ),
        TableColumn(
            "purpose", "choice", "Purpose", "periodic", choices=PURPOSES, aliases=("occasion",),
            help="periodic, acceptance or retest; empty is periodic.",
        ),
        TableColumn(
            "lot", "name", "Lot", "00712", longest=60, aliases=("batch", "concentrate lot"),
            help="As on the label, zeros and all; format the column as text.",
        ),
        TableColumn(
            "done_by", "text", "Done by", "Invented Foam Testing", longest=120,
            aliases=("contractor", "tested by", "company"),
        ),
        TableColumn(
            "paper", "text", "Paper", "folder 12, sheet 4", longest=120,
            aliases=("report", "report number", "reference"), help="Where the paper is found.",
        ),
        TableColumn("note", "text", "Note", "", longest=300, aliases=("notes", "remarks")),
    ),
    examples=(
        (
            "Quay 9", "Truck rack deluge", "PR-1", "minimum", "2012-05-14", "3.21", "600 L/min",
            "3.0", "3.9", "passed", "refractive index", "as found", "periodic", "00712",
            "Invented Foam Testing", "folder 12, sheet 4", "",
        ),
        (
            "Quay 9", "Truck rack deluge", "PR-1", "design", "2012-05-14", "3.35", "1900 L/min",
            "3.0", "3.9", "passed", "refractive index", "as found", "periodic", "00712",
            "Invented Foam Testing", "folder 12, sheet 4", "",
        ),
    ),
)  # fmt: skip


POURED = (
    TableColumn(
        "concentrate_used", "quantity", "Concentrate in the standard", "6.0 mL",
        units=("mL", "g"),
        aliases=("concentrate poured", "concentrate weighed", "volume of concentrate",
                 "mass of concentrate", "concentrate volume", "concentrate mass"),
        help="As really poured or weighed, in mL or g, with its unit here or in the head. One row "
        "of each standard is enough. Not where bottles have a column each.",
    ),
    TableColumn(
        "water_used", "quantity", "Water in the standard", "194.0 mL", units=("mL", "g"),
        aliases=("water poured", "water weighed", "volume of water", "mass of water",
                 "water volume", "water mass"),
        help="The same of the water.",
    ),
    TableColumn(
        "density", "quantity", "Density of the concentrate", "", units=tuple(DENSITY),
        aliases=("concentrate density",),
        help="Where standards are weighed: without it grams are no percent by volume. It is that "
        "of the bench, so one row is enough.",
    ),
    TableColumn(
        "density_at", "number", "Temperature of that density", "", units=("°C",),
        aliases=("temperature of the density", "density temperature"), help="In °C.",
    ),
    TableColumn(
        "density_error", "quantity", "The density may be off by", "", units=tuple(DENSITY),
        aliases=("uncertainty of the density", "density uncertainty"), help="Either way.",
    ),
    TableColumn(
        "density_from", "choice", "The density comes from", "",
        choices=spellings(DensityFrom.choices),
        aliases=("source of the density", "density source"),
    ),
)  # fmt: skip
NONE = ("",) * 4  # of the density, in a row of an example
LINE = "line"  # what a row is called where the bottles stand as heads


def of_bottle(key: UUID) -> str:
    """Our name of the column that holds the readings of one bottle."""
    return f"of_{key.hex}"


def warmth_of(key: UUID) -> str:
    """The same of their temperatures."""
    return f"warmth_of_{key.hex}"


def readings(instrument: Instrument | None, bottles: Sequence[Bottle] = ()) -> Layout:
    """Of one bench: figures in the unit of its instrument, and in no other. Each reading has a row,
    or each of the `bottles` a column."""
    unit = instrument.unit if instrument else ""
    units = (unit,) if unit else ("nD",)
    most = {"refractive_index": Decimal(2)}.get(instrument.method if instrument else "")
    value = TableColumn(
        "value", "number", "Reading", "1.3342", needed=True, units=units, most=most,
        judged=True, aliases=("value", "index", "refractive index", "nd", "brix", "conductivity"),
        help="What the display shows, with all its digits; one row for each reading, or a column "
        "for each bottle, headed by its label.",
    )  # fmt: skip
    across = _across(bottles, value)
    return Layout(
        Kind.READINGS,
        "Readings of a bench",
        (
            TableColumn(
                "bottle", "name", "Bottle", "S1", needed=True, longest=40,
                aliases=("label", "sample", "sample id", "standard"),
                help="The label on the bench: water, S1, S2 …, concentrate, or that of a sample.",
            ),
            value,
            TableColumn(
                "temperature", "number", "Temperature", "20.3", units=("°C",),
                aliases=("temp", "t", "temperature c", "sample temperature"), help="In °C.",
            ),
            TableColumn(
                "read_at", "moment", "Read at", "2026-05-03 14:05",
                aliases=("time", "taken at", "read on", "date", "date time", "date and time",
                         "timestamp"),
                help="On the clock of the site, with its day or as the time alone, which is then "
                "of the test day. A row without one has that of the row above; a table without "
                "the column has the moment at which it is taken in.",
            ),
            TableColumn(
                "set_aside", "text", "Set aside because", "", longest=200,
                aliases=("set aside", "discarded because"),
                help="Why a reading does not count; it is kept and shown with that. Not where "
                "bottles have a column each.",
            ),
            TableColumn(
                "set_aside_at", "moment", "Set aside at", "", aliases=("discarded at",),
                help="Without it, when it was read.",
            ),
            *POURED,
            *across,
        ),
        examples=(
            ("water", "1.3330", "20.1", "2026-05-03 14:05", *[""] * 8),
            ("S1", "1.3339", "20.1", "2026-05-03 14:07", "", "", "4.0 mL", "196.0 mL", *NONE),
            ("S2", "1.3342", "20.2", "2026-05-03 14:09", "", "", "6.0 mL", "194.0 mL", *NONE),
            ("S3", "1.3345", "20.2", "2026-05-03 14:11", "", "", "8.0 mL", "192.0 mL", *NONE),
        ),
        across=frozenset(of_bottle(bottle.key) for bottle in bottles),
    )  # fmt: skip


def _across(bottles: Sequence[Bottle], value: TableColumn) -> list[TableColumn]:
    """Two columns for each bottle, and what the rows are called beside them."""
    out = []
    for bottle in bottles:
        label, name = bottle.label, of_bottle(bottle.key)
        temperatures = tuple(f"{label} {word}" for word in ("°C", "temp", "t", "temp °C"))
        out += [
            replace(value, name=name, label=label, needed=False, aliases=(), help=""),
            TableColumn(
                warmth_of(bottle.key),
                "number",
                f"{label}, temperature",
                "20.3",
                units=("°C",),
                aliases=temperatures,
            ),
        ]
    return [*out, TableColumn(LINE, "text", "Name of the row", "1")] if out else []
