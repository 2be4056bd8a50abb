"""Bring the rules of keeping from their file into the database. Used by migrations alone."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings

FILE = Path(settings.BASE_DIR) / "fixtures" / "retention" / "rules.json"


def bring_rules(apps: Any) -> None:
    """May run twice. A released row stays as it is; what changes is a later code."""
    rule = apps.get_model("retention", "KeepingRule")
    rows = json.loads(FILE.read_text(encoding="utf-8"))["rows"]
    for position, row in enumerate(rows, 1):
        code = row.pop("code")
        rule.objects.get_or_create(code=code, defaults={**row, "position": position})
