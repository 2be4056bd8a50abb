"""Bring notice clocks from their file into the database. Used by migrations and by nothing else."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings

FILE = Path(settings.BASE_DIR) / "fixtures" / "findings" / "clocks.json"


def bring_clocks(apps: Any) -> None:
    """May run twice. A released row stays as it is; what changes is a later code. A column that
    the table does not have yet is left to the migration that adds it."""
    clock = apps.get_model("findings", "NoticeClock")
    columns = {field.name for field in clock._meta.get_fields()}
    for position, row in enumerate(_rows(), 1):
        values = {name: value for name, value in row.items() if name in columns - {"code"}}
        clock.objects.get_or_create(code=row["code"], defaults={**values, "position": position})


def say_what_they_ask(apps: Any) -> None:
    """Of the rows that were there before the column was. May run twice."""
    clock = apps.get_model("findings", "NoticeClock")
    for row in _rows():
        clock.objects.filter(code=row["code"]).update(asks=row["asks"])


def _rows() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))["rows"]
    return rows
