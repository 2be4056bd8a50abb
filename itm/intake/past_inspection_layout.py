"""The table of inspections of past years: a row for each task done on a thing."""

from itm.intake.shared_columns import SITE, SYSTEM, Kind, spellings
from itm.intake.tables.layout import Layout, TableColumn
from itm.records.models import InspectionLine

KINDS = {
    "proportioner": "proportioner", "tank": "tank", "equipment": "equipment", "valve": "equipment",
    "system": "system", "foam system": "system", "site": "site", "whole site": "site",
}  # fmt: skip
# Words of lists for how it was found, from memory.
OUTCOMES = spellings(
    InspectionLine.Outcome.choices, ok="in_order", okay="in_order", good="in_order",
    passed="in_order", **{"pass": "in_order"}, satisfactory="in_order", done="in_order",
    yes="in_order", fail="fault", failed="fault", faulty="fault", defective="fault",
    deficient="fault", unsatisfactory="fault", no="fault", not_accessible="not_possible",
    not_done="not_possible",
)  # fmt: skip

TABLE: tuple[TableColumn, ...] = (
    SITE,
    SYSTEM,
    TableColumn(
        "thing", "name", "Tag", "T-1", longest=40,
        aliases=("tag", "equipment", "asset", "item", "valve", "tank", "device", "equipment tag"),
        help="Of the proportioner, tank or other equipment. Empty: the task was of the whole "
        "system, where one is named, or of the whole site.",
    ),
    TableColumn(
        "kind", "choice", "What it is", "tank", choices=KINDS, aliases=("type", "equipment type"),
        help="Needed where two things of a site have the same tag.",
    ),
    TableColumn(
        "done_on", "day", "Done on", "2019-03-04", needed=True,
        aliases=("date", "inspection date", "date done", "inspected on", "day", "completed on",
                 "date completed"),
        help="Best as year-month-day.",
    ),
    TableColumn(
        "task", "text", "Task", "Look at the tank from outside", needed=True, longest=400,
        aliases=("inspection", "activity", "work", "description", "test", "check"),
        help="In the words of the list.",
    ),
    TableColumn(
        "counts_for", "text", "Task of the programme", "", longest=400,
        aliases=("programme task", "program task", "task of the program", "counts as"),
        help="The task that is asked of this thing today, in the words in which it is due here. "
        "Then what is due counts on from it. Not needed where “task” has these words.",
    ),
    TableColumn(
        "outcome", "choice", "Outcome", "in order", choices=OUTCOMES,
        aliases=("result", "status", "found", "condition", "pass fail"),
        help="“in order”, “not in order” or “not possible”; empty where the list says none. What "
        "was not possible counts for nothing.",
    ),
    TableColumn(
        "words", "text", "What was found", "", longest=500,
        aliases=("remarks", "notes", "note", "comment", "comments", "findings"),
    ),
    TableColumn(
        "done_by", "text", "Done by", "Crew of the works (invented)", longest=120,
        aliases=("inspector", "inspected by", "person", "who", "technician", "company"),
    ),
    TableColumn(
        "paper", "text", "Paper", "folder 12, sheet 4", longest=120,
        aliases=("report", "report number", "reference", "work order"),
        help="Where the paper is found.",
    ),
)  # fmt: skip
PAST_INSPECTIONS = Layout(
    Kind.PAST_INSPECTIONS,
    "Past inspections",
    TABLE,
    examples=(
        (
            "Quay 9", "", "T-1", "tank", "2019-03-04", "Look at the tank from outside", "",
            "in order", "", "Crew of the works (invented)", "folder 12, sheet 4",
        ),
        (
            "Quay 9", "Truck rack deluge", "", "system", "2019-03-04", "Walk along the piping", "",
            "not in order", "One hanger loose, tightened", "Crew of the works (invented)",
            "folder 12, sheet 4",
        ),
    ),
)  # fmt: skip
