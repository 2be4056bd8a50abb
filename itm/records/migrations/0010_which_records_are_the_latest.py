"""Notes the latest record in force of each proportioner that has one."""

from typing import Any

from django.db import migrations

RANKS = {"lean": 1, "rich": 2}


def note(apps: Any, schema_editor: Any) -> None:
    tests = apps.get_model("records", "ProportioningTest")
    latest = apps.get_model("records", "LatestRecord")
    rows = tests.objects.filter(state="sealed").exclude(amendments__state="sealed")
    found = {}
    columns = ("proportioner", "pk", "tested_on", "limits", "certainty")
    for device, *row in rows.order_by("tested_on", "phase", "pk").values_list(*columns):
        found[device] = row
    latest.objects.bulk_create(
        latest(
            proportioner_id=device,
            test_id=key,
            tested_on=on,
            rank=RANKS.get(limits, 3 if certainty == "undecided" else None),
        )
        for device, (key, on, limits, certainty) in found.items()
    )


def forget(apps: Any, schema_editor: Any) -> None:
    apps.get_model("records", "LatestRecord").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("records", "0009_latest_record")]

    operations = [migrations.RunPython(note, forget)]
