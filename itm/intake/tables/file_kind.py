"""What a file is, asked of its bytes and never of its name."""

import zipfile
from pathlib import Path

from itm.core.errors import Refused

CSV, XLSX = "csv", "xlsx"
OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # [MS-CFB] 2.2, compound file header
ZIP = b"PK\x03\x04"  # APPNOTE 4.3.7, local file header
OTHERS = {b"%PDF-": "a PDF", b"\xff\xd8\xff": "a picture", b"\x89PNG": "a picture"}


def kind_of(path: Path, shown: str) -> str:
    """CSV or XLSX. Refused empty_file, old_workbook, other_workbook, unknown_type, broken_workbook.

    `shown` is the name by which the sentence calls the file.
    """
    with path.open("rb") as file:
        head = file.read(8)
    if not head:
        raise Refused("empty_file", f"“{shown}” is empty.", "chosen")
    if head.startswith(OLD_OFFICE):
        raise Refused(
            "old_workbook",
            f"“{shown}” is a workbook of the old kind, or one with a password. Save it as XLSX "
            "without a password, or as CSV.",
            "chosen",
        )
    for sign, what in OTHERS.items():
        if head.startswith(sign):
            raise Refused("unknown_type", f"“{shown}” is {what}; {_right()}", "chosen")
    if not head.startswith(ZIP):
        return CSV
    try:
        with zipfile.ZipFile(path) as packed:
            names = set(packed.namelist())
    except zipfile.BadZipFile as error:
        raise Refused(
            "broken_workbook", f"“{shown}” is cut off or damaged. Save it again.", "chosen"
        ) from error
    if "xl/workbook.xml" in names and "[Content_Types].xml" in names:
        return XLSX
    if "xl/workbook.bin" in names or "content.xml" in names:
        raise Refused(
            "other_workbook",
            f"“{shown}” is a workbook of another kind. Save it as XLSX or as CSV.",
            "chosen",
        )
    raise Refused("unknown_type", f"“{shown}” is a packed folder; {_right()}", "chosen")


def _right() -> str:
    return "a table comes in as XLSX or as CSV."
