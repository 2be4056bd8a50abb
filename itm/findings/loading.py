"""Bring notice clocks from their file into the database. Used by migrations and by nothing else."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings

FILE = Path(settings.BASE_DIR) / "fixtures" / "findings" / "clocks.json"


def bring_clocks(apps: Any) -> None:
    """May run twice. A released row stays as it is; what changes is a later code."""
    clock = apps.get_model("findings", "NoticeClock")
    rows = json.loads(FILE.read_text(encoding="utf-8"))["rows"]
    for position, row in enumerate(rows, 1):
        code = row.pop("code")
        clock.objects.get_or_create(code=code, defaults={**row, "position": position})
