"""No flow of 0 or below among results of past years; what was typed stays as it was."""

from django.db import migrations, models
from django.db.models import Q


def empty_impossible(apps, schema_editor):
    """Rows that came in before this was looked at. Their figure as typed is kept and shown."""
    apps.get_model("records", "PastResult").objects.filter(flow__lte=0).update(flow=None)


class Migration(migrations.Migration):
    dependencies = [("records", "0022_witnesses")]

    operations = [
        migrations.RunPython(empty_impossible, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="pastresult",
            constraint=models.CheckConstraint(
                condition=Q(flow=None) | Q(flow__gt=0),
                name="past_flow_above_zero",
                violation_error_message="A flow lies above 0.",
            ),
        ),
    ]
