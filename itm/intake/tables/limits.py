"""How much one file may hold; own choice, wide enough for twenty years of a large owner."""

from itm.core.errors import Refused

MOST_ROWS = 200_000
MOST_COLUMNS = 200
MOST_CELLS = 4_000_000
LONGEST_CELL = 2_000  # characters
MOST_UNPACKED = 250_000_000  # bytes of all parts of a workbook
MOST_PARTS = 2_000
MOST_MEMORY = 2_000_000_000  # bytes of address space of the process that reads a workbook
LONGEST_READING = 120  # seconds of that process


def too_many_rows() -> Refused:
    return Refused(
        "too_many_rows",
        f"This table has more than {MOST_ROWS:,} rows. Divide it, for example by site or by year.",
        "chosen",
    )


def too_wide(columns: int) -> Refused:
    return Refused(
        "too_wide",
        f"A row of this table has {columns} columns; {MOST_COLUMNS} are the most. Leave out what "
        "lies beside the table.",
        "chosen",
    )


def long_cell(place: str, length: int) -> Refused:
    return Refused(
        "long_cell",
        f"Cell {place} holds {length:,} characters; {LONGEST_CELL:,} are the most.",
        "chosen",
    )
