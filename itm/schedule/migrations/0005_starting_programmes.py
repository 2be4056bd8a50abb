"""The programmes every installation starts with; the two first requirements become rows of one."""

from django.db import migrations

from itm.schedule.loading import STARTING, bring


def load(apps, schema_editor):
    """May run twice."""
    for name in STARTING:
        bring(apps, name)


def unload(apps, schema_editor):
    """The two first requirements go back to standing alone. Refused where duties hang on others."""
    requirement = apps.get_model("schedule", "Requirement")
    requirement.objects.filter(programme__everywhere=True).update(programme=None)
    requirement.objects.exclude(programme=None).delete()
    apps.get_model("schedule", "Programme").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("schedule", "0004_programmes")]
    operations = [migrations.RunPython(load, unload)]
