"""Once more, for who has taken 0008 when it named the record that opened a row as found again and
asked for no class. Where nothing of it was wrong, nothing changes."""

from importlib import import_module

from django.db import migrations

before = import_module('itm.findings.migrations.0008_what_was_found_again_is_said')


class Migration(migrations.Migration):

    dependencies = [
        ('findings', '0009_orders_are_withdrawn'),
    ]

    operations = [
        migrations.RunPython(before.say_again, migrations.RunPython.noop),
    ]
