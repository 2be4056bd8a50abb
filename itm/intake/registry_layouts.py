"""The tables of the register, column by column: one kind a file."""

from decimal import Decimal

from itm.intake.shared_columns import FLOWS, HUNDRED, SITE, VOLUMES, Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.registry import criteria, queries

YES_NO = {"yes": "yes", "no": "no", "true": "yes", "false": "no", "1": "yes", "0": "no"}

SITES = Layout(
    Kind.SITES, "Sites",
    (
        TableColumn("name", "name", "Name", "Quay 9", needed=True, longest=80, aliases=("site",)),
        TableColumn("address", "text", "Address", "9 Invented Quay", longest=400),
        TableColumn("country", "text", "Country", "Portugal", longest=60),
        TableColumn(
            "time_zone", "text", "Time zone", "Europe/Lisbon", needed=True, longest=40,
            aliases=("zone", "tz"), help="Of the IANA list; it decides the dates of the site.",
        ),
        TableColumn(
            "certificate_needed", "choice", "Take no test read with an instrument out of date",
            "no", choices=YES_NO,
        ),
    ),
    examples=(("Quay 9", "9 Invented Quay", "Portugal", "Europe/Lisbon", "no"),),
    makes_names=True,
)  # fmt: skip

SYSTEMS = Layout(
    Kind.SYSTEMS, "Foam systems",
    (
        SITE,
        TableColumn(
            "name", "name", "Name", "Truck rack deluge", needed=True, longest=80,
            aliases=("system", "system name"),
        ),
        TableColumn(
            "kind", "choice", "Type of system", "deluge", needed=True, aliases=("type",),
            choices=spellings(queries.SYSTEM_KINDS),
        ),
        TableColumn(
            "hazard", "text", "What it protects", "Loading of trucks", longest=200,
            aliases=("protects",),
        ),
        TableColumn(
            "fuel", "choice", "Fuel class", "hydrocarbon", needed=True,
            choices=spellings(queries.FUELS), aliases=("fuel",),
        ),
        TableColumn(
            "minimum_flow", "quantity", "Minimum solution flow", "600 L/min", needed=True,
            units=FLOWS, aliases=("minimum flow", "min flow"),
        ),
        TableColumn(
            "design_flow", "quantity", "Design solution flow", "1900 L/min", needed=True,
            units=FLOWS, aliases=("design flow", "max flow"),
        ),
        TableColumn(
            "required_minutes", "number", "Required discharge time", "10", needed=True,
            units=("min",), most=Decimal(100_000), aliases=("required minutes", "discharge time"),
            help="In minutes.",
        ),
        TableColumn(
            "commissioned_on", "day", "Commissioned on", "2008-03-01", needed=True,
            aliases=("commissioned", "in service since"),
        ),
        TableColumn(
            "criterion", "choice", "Acceptance band", "common",
            choices=spellings(criteria.choices()),
            help="Empty is the common rule; limits of its own are set on the page of the system.",
        ),
    ),
    examples=(
        (
            "Quay 9", "Truck rack deluge", "deluge", "Loading of trucks", "hydrocarbon",
            "600 L/min", "1900 L/min", "10", "2008-03-01", "common",
        ),
    ),
    makes_names=True,
)  # fmt: skip

TANKS = Layout(
    Kind.TANKS, "Tanks",
    (
        SITE,
        TableColumn("tag", "name", "Tag", "T-1", needed=True, longest=40, aliases=("tank",)),
        TableColumn(
            "kind", "choice", "Type of tank", "bladder", needed=True, aliases=("type",),
            choices=spellings(queries.TANK_KINDS),
        ),
        TableColumn(
            "capacity", "quantity", "Capacity", "1000 L", needed=True, units=VOLUMES,
            aliases=("volume", "size"),
        ),
        TableColumn(
            "usable_volume", "quantity", "Usable volume", "950 L", needed=True, units=VOLUMES,
            help="What the suction inlet can reach.",
        ),
        TableColumn("installed_on", "day", "Installed on", "2008-02-01"),
        TableColumn(
            "earlier_check_on", "day", "Last concentrate check before this record", "2025-04-10",
            aliases=("last check",),
        ),
    ),
    examples=(("Quay 9", "T-1", "bladder", "1000 L", "950 L", "2008-02-01", "2025-04-10"),),
    makes_names=True,
)  # fmt: skip

PROPORTIONERS = Layout(
    Kind.PROPORTIONERS, "Proportioners",
    (
        SITE,
        TableColumn(
            "system", "name", "System", "Truck rack deluge", needed=True, longest=80,
            aliases=("foam system",),
        ),
        TableColumn(
            "tank", "name", "Concentrate tank", "T-1", needed=True, longest=40,
            aliases=("tank tag",), help="Its tag; import the tanks first.",
        ),
        TableColumn(
            "tag", "name", "Tag", "PR-1", needed=True, longest=40, aliases=("proportioner",)
        ),
        TableColumn(
            "kind", "choice", "Type of proportioner", "bladder tank", needed=True,
            aliases=("type",), choices=spellings(queries.PROPORTIONER_KINDS),
        ),
        TableColumn(
            "nominal_percent", "percent", "Nominal percent", "3", needed=True, most=HUNDRED,
            aliases=("nominal",),
        ),
        TableColumn(
            "lowest_listed_flow", "quantity", "Lowest listed flow", "500 L/min", units=FLOWS
        ),
        TableColumn(
            "highest_listed_flow", "quantity", "Highest listed flow", "2500 L/min", units=FLOWS
        ),
        TableColumn(
            "earlier_test_on", "day", "Last proportioning test before this record", "2025-05-12",
            aliases=("last test",),
        ),
    ),
    examples=(
        (
            "Quay 9", "Truck rack deluge", "T-1", "PR-1", "bladder tank", "3", "500 L/min",
            "2500 L/min", "2025-05-12",
        ),
    ),
    makes_names=True,
)  # fmt: skip

LOTS = Layout(
    Kind.LOTS, "Lots",
    (
        TableColumn("product", "text", "Product", "Invented concentrate", needed=True, longest=80),
        TableColumn(
            "batch", "name", "Batch", "00712", needed=True, longest=60, aliases=("lot",),
            help="As on the label, zeros and all; format the column as text.",
        ),
        TableColumn(
            "kind", "choice", "Type of concentrate", "SFFF (fluorine-free)", needed=True,
            aliases=("type",), choices=spellings(queries.LOT_KINDS, sfff="sfff"),
        ),
        TableColumn(
            "nominal_percent", "percent", "Nominal percent", "3", needed=True, most=HUNDRED,
            aliases=("nominal",),
        ),
        TableColumn(
            "pfas", "choice", "PFAS", "free", choices=spellings(queries.PFAS),
            help="contains, free or unknown; empty is not known.",
        ),
        TableColumn("made_on", "day", "Made on", "2024-02-01"),
        TableColumn("expires_on", "day", "Expires on", "2034-02-01"),
        TableColumn(
            "refractive_index", "number", "Refractive index", "1.3512", units=("nD",),
            most=Decimal(2), aliases=("nd", "index"), help="nD at 20 °C, undiluted.",
        ),
        TableColumn(
            "density", "number", "Density", "1030", units=("kg/m³",), most=Decimal(5000),
            help="kg/m³ at 20 °C.",
        ),
        TableColumn("ph", "number", "pH", "7.4", most=Decimal(14)),
    ),
    examples=(
        (
            "Invented concentrate", "00712", "SFFF (fluorine-free)", "3", "free", "2024-02-01",
            "2034-02-01", "1.3512", "1030", "7.4",
        ),
    ),
    makes_names=True,
)  # fmt: skip

INSTRUMENTS = Layout(
    Kind.INSTRUMENTS, "Instruments",
    (
        TableColumn("name", "text", "Name", "Bench refractometer", needed=True, longest=80),
        TableColumn(
            "serial_number", "name", "Serial number", "004417", needed=True, longest=60,
            aliases=("serial", "serial no"), help="As on the plate; format the column as text.",
        ),
        TableColumn(
            "method", "choice", "What it reads", "refractive index", needed=True,
            aliases=("reads",), choices=spellings(queries.METHODS, index="refractive_index"),
        ),
        TableColumn(
            "unit", "choice", "Unit", "", choices=spellings(
                [("% Brix", "% Brix"), ("µS/cm", "µS/cm"), ("mS/cm", "mS/cm")], brix="% Brix",
            ), help="Empty for a refractive index; % Brix, µS/cm or mS/cm.",
        ),
        TableColumn(
            "resolution", "number", "Resolution", "0.0001", needed=True, most=Decimal(1000),
            aliases=("step",), help="One step of its display, in its own unit; of a scale with "
            "marks the part of a division that is read by eye.",
        ),
        TableColumn(
            "division", "number", "Division of a scale", "", most=Decimal(1000),
            help="Of an analogue scale that is read between its marks; empty for a display.",
        ),
        TableColumn(
            "repeatability", "number", "Repeatability", "0.0001", most=Decimal(1000),
            help="Standard deviation of one reading as its maker states it.",
        ),
        TableColumn(
            "temperature_compensated", "choice", "Corrects for temperature itself", "no",
            choices=YES_NO,
            once="Do the instruments of this file correct for temperature themselves? Where they "
            "differ, add a column that says it of each.",
            help="Yes or no: without it, readings would be corrected twice or not at all.",
        ),
        TableColumn(
            "compensates_from_c", "number", "Corrects from, °C", "10", most=HUNDRED,
            help="Lowest temperature of its range, where it corrects itself.",
        ),
        TableColumn("compensates_to_c", "number", "Corrects up to, °C", "40", most=HUNDRED),
    ),
    examples=(
        ("Bench refractometer", "004417", "refractive index", "", "0.0001", "", "0.0001", "yes",
         "10", "40"),
    ),
    makes_names=True,
)  # fmt: skip
