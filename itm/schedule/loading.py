"""Bring programmes from their files into the database. Used by migrations and by nothing else."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Q

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "programmes"
# What a fresh installation starts with. A file is never edited after a release: a later edition is
# a file and a migration of its own.
STARTING = (
    "everywhere",
    "us-nfpa25-foam-water",
    "us-nfpa11-foam",
    "imo-ships",
    "us-coast-guard",
    "us-offshore-production",
    "us-occupational-and-local",
    "eu-en13565",
    "aviation",
    "us-dod",
    "project-common-practice",
)


def read(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return found


def bring(apps: Any, name: str) -> None:
    """One file; may run twice. `apps` is the state of the migration."""
    programme = apps.get_model("schedule", "Programme")
    requirement = apps.get_model("schedule", "Requirement")
    file = read(name)
    rows = file.pop("rows")
    code, edition = file.pop("code"), file.pop("edition")
    held, _ = programme.objects.update_or_create(code=code, edition=edition, defaults=file)
    for position, row in enumerate(rows, 1):
        row = {**row, "first_latest": row["first"], "position": position, "programme": held}
        del row["first"]
        there = requirement.objects.filter(code=row["code"])
        there = there.filter(
            Q(programme=None) | Q(programme=held)
        )  # older than programmes, or ours
        if not there.update(**row):
            requirement.objects.create(**row)
