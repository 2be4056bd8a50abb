"""The two requirements every installation starts with: the yearly test and the yearly check."""

import json
from pathlib import Path

from django.conf import settings
from django.db import migrations

# Never edit this file after a release: a later programme comes by a migration of its own.
FILE = Path(settings.BASE_DIR) / "fixtures" / "programmes" / "first.json"


def rows():
    return json.loads(FILE.read_text(encoding="utf-8"))


def load(apps, schema_editor):
    """May run twice."""
    requirement = apps.get_model("schedule", "Requirement")
    for row in rows():
        requirement.objects.update_or_create(code=row["code"], defaults=row)


def unload(apps, schema_editor):
    """Refused by the database where duties hang on them."""
    requirement = apps.get_model("schedule", "Requirement")
    requirement.objects.filter(code__in=[row["code"] for row in rows()]).delete()


class Migration(migrations.Migration):
    dependencies = [("schedule", "0002_duty_withdrawn")]
    operations = [migrations.RunPython(load, unload)]
