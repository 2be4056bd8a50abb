"""Every requirement is a row of a programme."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("schedule", "0005_starting_programmes")]
    operations = [
        migrations.AlterField(
            model_name="requirement",
            name="programme",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="requirements",
                to="schedule.programme",
            ),
        )
    ]
