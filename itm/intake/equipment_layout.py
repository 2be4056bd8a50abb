"""The table of equipment: valves, strainers and whatever else is inspected beside the devices."""

from decimal import Decimal

from itm.intake.shared_columns import SITE, Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.registry import queries_equipment as queries

MOST = Decimal(10_000)  # pieces of one row, places in a walk; own choice

EQUIPMENT = Layout(
    Kind.EQUIPMENT, "Equipment",
    (
        SITE,
        TableColumn(
            "tag", "name", "Tag", "V-12", needed=True, longest=40, aliases=("valve", "equipment"),
        ),
        TableColumn(
            "kind", "choice", "What it is", "valve", needed=True, aliases=("type",),
            choices=spellings(queries.EQUIPMENT_KINDS),
        ),
        TableColumn(
            "variety", "choice", "Variety", "locked", choices=spellings(queries.VARIETY_CHOICES),
            help="Of a valve: sealed, locked, supervised or unsupervised; strainers, piping, "
            "discharge devices and actuation have varieties of their own, everything else none.",
        ),
        TableColumn(
            "normal_position", "choice", "Normal position", "open",
            choices=spellings(queries.POSITIONS), aliases=("position", "normally"),
            help="Of a valve: how it stands when all is well.",
        ),
        TableColumn(
            "position_note", "text", "Position in words", "", longest=120,
            help="Needed where it is neither open, closed nor regulating.",
        ),
        TableColumn(
            "system", "name", "Stands at system", "Truck rack deluge", longest=80,
            aliases=("foam system",), help="Empty where it stands at a tank or at the site alone.",
        ),
        TableColumn(
            "tank", "name", "Stands at tank", "", longest=40, aliases=("tank tag",),
            help="Its tag; import systems and tanks first.",
        ),
        TableColumn(
            "name", "text", "What it does", "Concentrate isolation valve", longest=80,
            aliases=("description", "service"),
        ),
        TableColumn(
            "place", "text", "Where one finds it", "Pump house, east wall", longest=120,
            aliases=("location", "where"),
        ),
        TableColumn(
            "pieces", "number", "How many", "1", most=MOST, aliases=("quantity", "count"),
            help="Empty is one.",
        ),
        TableColumn(
            "walk_order", "number", "Place in the walk back", "1", most=MOST,
            help="Of a valve: after a test they are put back in this order.",
        ),
        TableColumn("size", "text", "Size or rating", "DN 50", longest=60),
        TableColumn("maker", "text", "Maker", "", longest=80, aliases=("manufacturer",)),
        TableColumn("model", "text", "Model", "", longest=80),
        TableColumn(
            "serial_number", "name", "Serial number", "004417", longest=60,
            aliases=("serial", "serial no"), help="As on the plate; format the column as text.",
        ),
        TableColumn("installed_on", "day", "Installed on", "2008-02-01"),
        TableColumn("notes", "text", "Notes", "", longest=1000, aliases=("note", "remarks")),
    ),
    examples=(
        (
            "Quay 9", "V-12", "valve", "locked", "open", "", "Truck rack deluge", "",
            "Concentrate isolation valve", "Pump house, east wall", "1", "1", "DN 50", "", "",
            "004417", "2008-02-01", "",
        ),
        (
            "Quay 9", "V-13", "valve", "sealed", "as noted", "one turn open", "", "T-1",
            "Tank outlet", "Pump house", "", "2", "DN 80", "", "", "", "", "",
        ),
        (
            "Quay 9", "ST-1", "strainer", "concentrate", "", "", "Truck rack deluge", "",
            "Suction strainer", "Pump house", "2", "", "", "", "", "", "", "",
        ),
        (
            "Quay 9", "DR-1", "drainage", "", "", "", "", "", "Catch basin", "Below the rack",
            "", "", "", "", "", "", "", "",
        ),
    ),
    makes_names=True,
)  # fmt: skip
