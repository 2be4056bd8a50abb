"""The table of what was measured of concentrate bottles: a column for each property, or a row."""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from itm.intake.concentrate import FIELDS
from itm.intake.shared_columns import Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.records.models import SampleValue
from itm.registry.properties import KNOWN, PROPERTIES, Property

# Our column → property. Names that say no unit, since the head or the cell says it.
COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "refractive_index": "refractive_index",
        "density": "density",
        "ph": "ph",
        "conductivity": "conductivity_ms_cm",
        "kinematic_viscosity": "kinematic_viscosity_mm2_s",
        "dynamic_viscosity": "dynamic_viscosity_mpa_s",
        "sediment": "sediment_percent",
        "aged_sediment": "aged_sediment_percent",
        "surface_tension": "surface_tension_mn_m",
        "interfacial_tension": "interfacial_tension_mn_m",
        "spreading_coefficient": "spreading_coefficient_mn_m",
        "expansion": "expansion",
        "drain_time": "drain_time_25_min",
        "extinguishing_time": "extinguishing_time_s",
        "burnback_time": "burnback_time_s",
    }
)
# Other heads and words that people use, from memory; all of them plain words of the trade.
ALIASES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "refractive_index": ("index", "ri", "nd", "nd20", "refractive index nd"),
        "density": ("specific mass", "mass density"),
        "ph": ("ph value",),
        "conductivity": ("conductivity undiluted", "electrical conductivity"),
        "kinematic_viscosity": (),
        "dynamic_viscosity": ("viscosity brookfield", "absolute viscosity"),
        "sediment": ("sediments", "sediment by volume"),
        "aged_sediment": ("sediment after ageing", "sediment aged"),
        "surface_tension": ("surface tension of the solution",),
        "interfacial_tension": ("interfacial tension of the solution",),
        "spreading_coefficient": (),
        "expansion": ("expansion ratio", "foam expansion"),
        "drain_time": ("25 drain time", "drainage time", "25 drainage time"),
        "extinguishing_time": ("time to extinguish", "extinction time"),
        "burnback_time": ("burnback",),
    }
)
IN_TABLES = MappingProxyType({"% vol": "%", "": "nD"})  # how a unit is read where it differs here
NO_UNIT = frozenset(("", "nD", "-", "–", "1", "pH", "none"))  # what stands where there is none
MOST = MappingProxyType({"refractive_index": Decimal(2), "ph": Decimal(14)})
ORIGINS = spellings(
    SampleValue.Origin.choices, crew="own", site="own", lab="laboratory", measured_by_us="own"
)


def units_in_tables(known: Property) -> tuple[str, ...]:
    """As cells and heads are read; only an index has a word where a unit would stand."""
    if not known.unit:
        return ("nD",) if known.name == "refractive_index" else ()
    return tuple(IN_TABLES.get(unit, unit) for unit in known.units)


def unit_of_property(known: Property, read: str) -> str:
    """The unit of the property that a table's unit is, or the table's own where it is none."""
    if not known.unit:
        return "" if read in NO_UNIT else read
    if not read:
        return known.unit if len(known.units) == 1 else ""
    return next((unit for unit in known.units if IN_TABLES.get(unit, unit) == read), read)


def column_of(name: str) -> TableColumn:
    known = PROPERTIES[COLUMNS[name]]
    units = units_in_tables(known)
    several = len(units) > 1
    return TableColumn(
        name, "quantity" if several else "number", known.heading,
        f"{FIELDS[known.name].example} {known.unit}".strip(), units=units, most=MOST.get(name),
        aliases=(known.name, *ALIASES[name]),
        help="With its unit, here or in the head." if several else "",
    )  # fmt: skip


def _words() -> dict[str, str]:
    """Every way to write a property in a cell → its name."""
    out: dict[str, str] = {}
    for name, code in COLUMNS.items():
        known = PROPERTIES[code]
        for word in (code, name, known.words, *ALIASES[name]):
            out |= {word.casefold(): code, word.replace("_", " ").casefold(): code}
    return out


TABLE: tuple[TableColumn, ...] = (
    TableColumn(
        "bottle", "name", "Bottle", "T-1 260615 top", needed=True, longest=40,
        aliases=("label", "sample", "sample id", "sample label", "bottle label", "sample no"),
        help="The label on the bottle, by which its check is found; one table may hold bottles "
        "of several tanks and sites, and a bottle may stand in several rows.",
    ),
    TableColumn(
        "property", "choice", "Property", "refractive index", choices=_words(),
        aliases=("parameter", "analysis", "determination", "test", "measurement"),
        help="Where each row holds one property: then its figure stands under “value”.",
    ),
    TableColumn(
        "value", "measure", "Value", "1.37020", aliases=("result", "measured value"),
        units=tuple(dict.fromkeys(u for one in KNOWN for u in units_in_tables(one))),
        help="With every digit; its unit here, in the head or under “unit”.",
    ),
    TableColumn("unit", "text", "Unit", "g/mL", aliases=("units",), longest=20),
    *map(column_of, COLUMNS),
    TableColumn(
        "temperature", "number", "Temperature", "20.0", units=("°C",),
        aliases=("temp", "t", "temperature c", "at temperature", "measured at"),
        help="In °C, of what was measured in this row. Index and density need it.",
        once="At which temperature in °C were these values measured?",
    ),
    TableColumn(
        "method", "text", "Method", "oscillating U-tube", longest=120,
        aliases=("test method", "instrument", "procedure"),
        help="By what it was measured, of every value in its row.",
    ),
    TableColumn(
        "measured_on", "day", "Measured on", "2026-07-02",
        aliases=("analysed on", "analyzed on", "date analysed", "date analyzed", "analysis date",
                 "tested on", "date tested"),
    ),
    TableColumn(
        "entered_at", "moment", "Noted at", "", aliases=("entered at", "noted", "time noted"),
        help="When the value was noted, on the clock of the site, with its day or as the time "
        "alone, which is then of the day of the bottles. Without it: the moment at which the "
        "table is taken in.",
    ),
    TableColumn(
        "set_aside", "text", "Set aside because", "", longest=200,
        aliases=("set aside", "discarded because"),
        help="Why a value does not count; it is kept and shown with that, and another may stand "
        "in its place.",
    ),
    TableColumn(
        "set_aside_at", "moment", "Set aside at", "", aliases=("discarded at",),
        help="Without it, when it was noted.",
    ),
    TableColumn(
        "origin", "choice", "Measured by", "laboratory", choices=ORIGINS,
        aliases=("measured by", "source"),
        help="Laboratory or own. Without it: a laboratory’s where a row names one, or where "
        "the bottle was sent to one.",
    ),
    TableColumn(
        "laboratory", "text", "Laboratory", "Invented institute", longest=120,
        aliases=("lab", "laboratory name", "lab name"),
        once="Which laboratory measured them? Leave it empty where you did.",
    ),
    TableColumn(
        "report_number", "text", "Number of the report", "L-118", longest=60,
        aliases=("report", "report no", "certificate number", "paper", "paper number",
                 "number of the paper"),
        help="With it and the day of the report, this file becomes the laboratory’s report "
        "of each check, unless that report is attached already.",
        once="What is the number of its report?",
    ),
    TableColumn(
        "reported_on", "day", "Day of the report", "2026-07-06",
        aliases=("report date", "date of report", "date reported"), help="Best as "
        "year-month-day.", once="Of which day is its report?",
    ),
    TableColumn(
        "received_on", "day", "Arrived at the laboratory", "2026-06-18",
        aliases=("received", "date received", "arrived", "arrived on"),
        help="Only of bottles whose way to a laboratory is noted.",
    ),
)  # fmt: skip


def _example(**cells: str) -> tuple[str, ...]:
    return tuple(cells.get(one.name, "") for one in TABLE)


PAPER = {
    "laboratory": "Invented institute", "report_number": "L-118", "reported_on": "2026-07-06",
    "received_on": "2026-06-18", "measured_on": "2026-07-02",
}  # fmt: skip
VALUES = Layout(
    Kind.VALUES,
    "Values of concentrate bottles",
    TABLE,
    examples=(
        _example(
            bottle="T-1 260615 top", refractive_index="1.37020", density="1.0320 g/mL", ph="7.6",
            temperature="20.0", **PAPER,
        ),
        _example(
            bottle="T-1 260615 bottom", refractive_index="1.37010", density="1.0319 g/mL",
            ph="7.6", temperature="20.0", **PAPER,
        ),
        _example(
            bottle="T-1 260615 bottom", property="sediment", value="0.05 %",
            method="centrifuge, 10 min", **PAPER,
        ),
    ),
    one_of=(("property", "value"), *((name,) for name in COLUMNS)),
    one_of_words="a property with its value, or a column for each property",
)  # fmt: skip
