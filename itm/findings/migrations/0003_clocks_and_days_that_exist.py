"""The notice clocks of the file, and an impairment for every test day that was started before.

Past the history, as a migration is: the visit's own history says when it began and ended.
"""

import uuid

from django.db import migrations

from itm.findings.loading import bring_clocks


def clocks(apps, schema_editor):
    bring_clocks(apps)


def days_that_exist(apps, schema_editor):
    """A system is back with the last line of its devices. A day whose lines nobody wrote reaches
    every system of the site, as it was shown until now."""
    visits = apps.get_model("records", "Visit").objects
    lines = apps.get_model("records", "RestorationLine").objects
    systems = apps.get_model("registry", "FoamSystem").objects
    impairments = apps.get_model("findings", "Impairment").objects
    impaired = apps.get_model("findings", "ImpairedSystem").objects
    for visit in visits.filter(started_at__isnull=False, impairment=None).iterator():
        row = impairments.create(
            key=uuid.uuid4(), site_id=visit.site_id, visit=visit,
            organisation_id=visit.contractor_id, started_at=visit.started_at,
            started_by=visit.started_by or "not noted", ended_at=visit.restored_at,
            ended_by=(visit.restored_by or "not noted") if visit.restored_at else "",
        )
        by_system = {}
        for line in lines.filter(visit=visit).select_related("proportioner"):
            by_system.setdefault(line.proportioner.system_id, []).append(line)
        for line_system, own in by_system.items():
            followed = {line.follows_id for line in own}
            out = any(
                line.outcome == "" or (line.outcome == "left_out" and line.pk not in followed)
                for line in own
            )
            ends = [line.ended_at for line in own if line.ended_at]
            impaired.create(
                key=uuid.uuid4(), impairment=row, system_id=line_system,
                back_at=None if out or not ends else max(ends),
            )
        if not by_system:
            for system in systems.filter(site_id=visit.site_id):
                impaired.create(
                    key=uuid.uuid4(), impairment=row, system=system, back_at=visit.restored_at
                )


class Migration(migrations.Migration):

    dependencies = [
        ("findings", "0002_impairments_clocks_questions_orders"),
        ("records", "0015_photos"),
        ("registry", "0023_what_was_left"),
    ]

    operations = [
        migrations.RunPython(clocks, migrations.RunPython.noop),
        migrations.RunPython(days_that_exist, migrations.RunPython.noop),
    ]
