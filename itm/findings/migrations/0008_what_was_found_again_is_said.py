"""What the life of an open deficiency holds as found again stands in its row from now on."""

from django.db import migrations

DAYS = ('test__tested_on', 'concentrate_check__checked_on', 'inspection_line__inspection__done_on', 'since_on')


def say_again(apps, schema_editor):
    """Past the history: it is worked out from lines that the history has."""
    rows = apps.get_model('findings', 'Deficiency')._base_manager
    steps = apps.get_model('findings', 'Step')._base_manager
    found = {}
    again = steps.filter(deficiency__closed_at=None, verb='found_again').order_by('pk')
    for row, first, at, words, *days in again.values_list(
        'deficiency', 'deficiency__found_on', 'at', 'words', *DAYS
    ):
        on = next((day for day in days if day is not None), at.date())
        if on >= found.get(row, (first, ''))[0] and words:
            found[row] = (on, words[:400])
    for row, (on, words) in found.items():
        rows.filter(pk=row).update(again_on=on, again_words=words)


class Migration(migrations.Migration):

    dependencies = [
        ('findings', '0007_found_again_and_worse'),
    ]

    operations = [
        migrations.RunPython(say_again, migrations.RunPython.noop),
    ]
