"""Where the duties that are already there stand."""

from datetime import UTC, datetime

from django.db import migrations

from itm.core.clock import date_at
from itm.schedule.due import changes_on, standing


def stand(apps, schema_editor):
    """May run twice. What is retired rests, on whatever way the duty hangs on it."""
    now = datetime.now(UTC)
    duty = apps.get_model("schedule", "Duty")
    rows = duty.objects.select_related("site").filter(
        done_on=None, withdrawn_on=None, site__retired_on=None
    )
    rows = rows.exclude(proportioner__retired_on__isnull=False).exclude(
        proportioner__system__retired_on__isnull=False
    )
    changed = []
    for row in rows.exclude(tank__retired_on__isnull=False).iterator():
        dates = (row.window_opens_on, row.due_on, row.latest_on)
        row.stands = standing(*dates, date_at(row.site.time_zone, now)).name
        row.stands_changes_on = changes_on(row.stands, *dates)
        changed.append(row)
    duty.objects.bulk_update(changed, ["stands", "stands_changes_on"], batch_size=2000)


class Migration(migrations.Migration):
    dependencies = [("schedule", "0007_duty_standing")]
    operations = [migrations.RunPython(stand, migrations.RunPython.noop)]
