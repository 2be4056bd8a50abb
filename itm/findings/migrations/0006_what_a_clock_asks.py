"""A clock that asks for something arranged is answered by no call."""

from django.db import migrations, models

from itm.findings.loading import say_what_they_ask


def said(apps, schema_editor):
    say_what_they_ask(apps)


class Migration(migrations.Migration):

    dependencies = [
        ('findings', '0005_visits_of_an_authority'),
        ('records', '0022_witnesses'),
        ('registry', '0030_rinses'),
        ('schedule', '0015_overdue_has_its_class'),
    ]

    operations = [
        migrations.AddField(
            model_name='noticeclock',
            name='asks',
            field=models.CharField(choices=[('told', 'somebody is told'), ('arranged', 'something is arranged')], default='told', max_length=8),
        ),
        migrations.RunPython(said, migrations.RunPython.noop),
        migrations.AlterField(
            model_name='noticeclock',
            name='tell',
            field=models.CharField(help_text='Who is told, or who sees that it is done', max_length=120),
        ),
        migrations.AlterField(
            model_name='step',
            name='verb',
            field=models.CharField(choices=[('opened', 'opened'), ('found_again', 'found again'), ('told', 'told'), ('classed', 'class changed'), ('assigned', 'seen to'), ('pictured', 'photo added'), ('repaired', 'repaired'), ('proposed', 'a later record proposes to close it'), ('unsettled', 'what it rests on has changed'), ('noted', 'note'), ('closed', 'closed'), ('round', 'round of the fire watch'), ('changed', 'changed'), ('arranged', 'arranged'), ('alarm', 'a clock has run out')], max_length=12),
        ),
        migrations.AddConstraint(
            model_name='step',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('verb', 'arranged'), _negated=True), models.Q(models.Q(('how', ''), _negated=True), models.Q(('who', ''), _negated=True), ('happened_at__isnull', False)), _connector='OR'), name='arranged_names_what_who_and_when', violation_error_message='Say what is arranged, who sees to it, and from when on.'),
        ),
    ]
