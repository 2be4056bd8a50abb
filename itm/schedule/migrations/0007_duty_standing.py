from django.db import migrations, models

STANDS = [
    ("ahead", "ahead"),
    ("open", "open"),
    ("due", "due"),
    ("overdue", "overdue"),
    ("at_rest", "at rest"),
]


class Migration(migrations.Migration):
    dependencies = [("schedule", "0006_rows_of_programmes")]
    operations = [
        migrations.AddField(
            model_name="duty",
            name="stands",
            field=models.CharField(choices=STANDS, default="at_rest", max_length=8),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="duty",
            name="stands_changes_on",
            field=models.DateField(blank=True, null=True),
        ),
    ]
