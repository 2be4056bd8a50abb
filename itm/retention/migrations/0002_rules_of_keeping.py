"""The rules of the file: nothing claims anything until an owner adopts it."""

from django.db import migrations

from itm.retention.loading import bring_rules


def rules(apps, schema_editor):
    bring_rules(apps)


class Migration(migrations.Migration):

    dependencies = [
        ("retention", "0001_how_long_records_are_kept"),
    ]

    operations = [
        migrations.RunPython(rules, migrations.RunPython.noop),
    ]
