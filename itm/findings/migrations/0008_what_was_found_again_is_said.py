"""What the life of an open deficiency holds as found again stands in its row from now on.

By the rules of the deed itself: what is said of the record that opened the row, in the same words,
is not found again; and the class is asked for where a person lowered it before.
"""

from zoneinfo import ZoneInfo

from django.db import migrations

ORIGINS = ('test', 'concentrate_check', 'inspection_line', 'restoration_line', 'duty')
DAYS = ('test__tested_on', 'concentrate_check__checked_on', 'inspection_line__inspection__done_on', 'since_on')


def say_again(apps, schema_editor):
    """Past the history: it is worked out from lines that the history has."""
    rows = apps.get_model('findings', 'Deficiency')._base_manager
    steps = apps.get_model('findings', 'Step')._base_manager
    lives = {}
    for step in steps.filter(deficiency__closed_at=None, verb__in=('found_again', 'classed')).order_by('pk').values(
        'deficiency', 'verb', 'at', 'words', 'restoration_line__ended_at', 'deficiency__site__time_zone',
        *ORIGINS, *DAYS,
    ):
        lives.setdefault(step['deficiency'], []).append(step)
    for row in rows.filter(pk__in=[pk for pk, life in lives.items() if any(is_again(one) for one in life)]):
        on, words, asked = of_life(row, lives[row.pk])
        if words and words == row.again_words:
            # A deed said so itself: of a duty it knows the day better.
            asked = asked and row.again_on
            on = row.again_on
        rows.filter(pk=row.pk).update(again_on=on, again_words=words, class_asked_on=asked)


def is_again(step):
    return step['verb'] == 'found_again'


def of_life(row, life):
    """Day and words of the newest, and the day on which the class is asked for."""
    newest, words, asked, classed = None, '', None, False
    for step in life:
        if not is_again(step):
            asked, classed = None, True
            continue
        on = day_of(step)
        opened_it = all(step[name] == getattr(row, f'{name}_id') for name in ORIGINS)
        if on < (newest or row.found_on) or not step['words']:
            continue
        if opened_it and step['words'] == row.words:
            continue
        newest, words = on, step['words'][:400]
        if classed and row.severity > row.proposed:
            asked = on
    return newest, words, asked


def day_of(step):
    days = [step[name] for name in DAYS if step[name] is not None]
    at = step['restoration_line__ended_at'] or step['at']
    return days[0] if days else at.astimezone(ZoneInfo(step['deficiency__site__time_zone'])).date()


class Migration(migrations.Migration):

    dependencies = [
        ('findings', '0007_found_again_and_worse'),
    ]

    operations = [
        migrations.RunPython(say_again, migrations.RunPython.noop),
    ]
