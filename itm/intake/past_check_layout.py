"""The table of past concentrate checks: a row for each property, or a column for each."""

from dataclasses import replace

from itm.intake.shared_columns import SITE, Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.intake.value_layout import COLUMNS, VALUES, column_of
from itm.records.models import ConcentrateSample

# What reports call the place of a sample besides our words, from memory.
POINTS = spellings(
    ConcentrateSample.Point.choices, upper="top", surface="top", mid="middle", centre="middle",
    center="middle", lower="bottom", base="bottom", circulated="recirculated",
    recirculation="recirculated", mixed="recirculated", drain="outlet",
)  # fmt: skip
VALUE = VALUES.column("value")


def _limit(name: str, which: str, example: str, *aliases: str) -> TableColumn:
    return replace(
        VALUE, name=name, label=f"{which} limit", example=example, aliases=aliases,
        help="As the paper names it for the figure under “value”, in its unit or with its own.",
    )  # fmt: skip


TABLE: tuple[TableColumn, ...] = (
    SITE,
    TableColumn(
        "tank", "name", "Tank", "T-1", needed=True, longest=40,
        aliases=("tank tag", "tank no", "tank number", "concentrate tank", "vessel"),
        help="Its tag in the register.",
    ),
    TableColumn(
        "sampled_on", "day", "Sampled on", "2014-06-15", needed=True,
        aliases=("date", "sample date", "date sampled", "sampling date", "date of sample", "day"),
        help="Day of the sample, best as year-month-day. What is due counts on from it.",
    ),
    TableColumn(
        "point", "choice", "Sample point", "bottom", choices=POINTS,
        aliases=("point", "sample point", "level", "sampled at", "place of the sample"),
        help="Where in the tank; empty where the paper does not say.",
    ),
    replace(VALUES.column("property"), help="Where each row holds one property: then its figure "
            "stands under “value”, with the limits beside it."),
    VALUE,
    VALUES.column("unit"),
    *map(column_of, COLUMNS),
    replace(VALUES.column("temperature"), help="In °C, of what was measured in this row. Index and "
            "density without it stand in the tables, and not in the pictures."),
    _limit("lower_limit", "Lower", "1.3690", "limits lower", "lower", "min limit", "min"),
    _limit("upper_limit", "Upper", "1.3720", "limits upper", "upper", "max limit", "max"),
    TableColumn(
        "outcome", "text", "Outcome", "fit for use", longest=200,
        aliases=("verdict", "pass fail", "conclusion", "assessment", "statement"),
        help="In the words of the report. A row that holds nothing else is the report as a whole.",
    ),
    replace(VALUES.column("method"), help="By what it was measured."),
    replace(VALUES.column("origin"), help="Laboratory or own. Without it: a laboratory’s where "
            "the row names one or a report, else not reported."),
    replace(VALUES.column("laboratory"), once="Which laboratory measured them? Leave it empty "
            "where the papers do not say, or differ."),
    replace(VALUES.column("report_number"), longest=120, once="", help="Or where the paper is "
            "found."),
    replace(VALUES.column("reported_on"), once="", example="2014-07-01"),
    TableColumn(
        "lot", "name", "Lot", "00712", longest=60, aliases=("batch", "concentrate lot"),
        help="As on the label, zeros and all; format the column as text.",
    ),
    TableColumn(
        "done_by", "text", "Sampled by", "Invented Foam Testing", longest=120,
        aliases=("done by", "contractor", "company", "taken by"),
    ),
    TableColumn("note", "text", "Note", "", longest=300, aliases=("notes", "remarks")),
)  # fmt: skip


def _example(**cells: str) -> tuple[str, ...]:
    return tuple(cells.get(one.name, "") for one in TABLE)


SAMPLE = {
    "site": "Quay 9", "tank": "T-1", "sampled_on": "2014-06-15", "point": "bottom",
    "laboratory": "Invented institute", "report_number": "L-44", "reported_on": "2014-07-01",
    "lot": "00712", "done_by": "Invented Foam Testing",
}  # fmt: skip
PAST_CHECKS = Layout(
    Kind.PAST_CHECKS,
    "Past concentrate checks",
    TABLE,
    examples=(
        _example(
            **SAMPLE, property="refractive index", value="1.3702", temperature="20.0",
            lower_limit="1.3690", upper_limit="1.3720", outcome="within limits",
        ),
        _example(
            **SAMPLE, property="density", value="1.032", unit="g/mL", temperature="20.0",
            outcome="within limits",
        ),
        _example(
            **SAMPLE, property="sediment", value="0.05 %", upper_limit="0.25 %",
            method="centrifuge, 10 min", outcome="within limits",
        ),
        _example(**SAMPLE, outcome="fit for use"),
    ),
    one_of=(("property", "value"), *((name,) for name in COLUMNS), ("outcome",)),
    one_of_words="a property with its value, a column for each property, or an outcome",
)  # fmt: skip
