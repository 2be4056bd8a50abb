"""Requirements become rows of programmes; their figures lose the months in their names."""

import django.db.models.deletion
import django.db.models.expressions
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('schedule', '0003_first_requirements'),
    ]

    operations = [
        migrations.RemoveConstraint("requirement", "requirement_window_in_order"),
        migrations.RenameField("requirement", "interval_months", "interval"),
        migrations.RenameField("requirement", "earliest_months", "earliest"),
        migrations.RenameField("requirement", "latest_months", "latest"),
        migrations.AlterModelOptions(
            name='requirement',
            options={'ordering': ['programme', 'position', 'code']},
        ),
        migrations.AddField(
            model_name='requirement',
            name='acceptance',
            field=models.CharField(blank=True, max_length=400),
        ),
        migrations.AddField(
            model_name='requirement',
            name='applies_to',
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name='requirement',
            name='by_date',
            field=models.DateField(blank=True, help_text='Once only, by this day', null=True),
        ),
        migrations.AddField(
            model_name='requirement',
            name='condition',
            field=models.CharField(blank=True, choices=[('concentrate_old', 'concentrate past its expiry date or ten years old'), ('certificate', 'an instrument whose certificate runs out')], max_length=20),
        ),
        migrations.AddField(
            model_name='requirement',
            name='events',
            field=models.JSONField(blank=True, default=list),
        ),
        migrations.AddField(
            model_name='requirement',
            name='evidence',
            field=models.JSONField(blank=True, default=list),
        ),
        migrations.AddField(
            model_name='requirement',
            name='first_latest',
            field=models.PositiveSmallIntegerField(blank=True, help_text='The first cycle, where it may be longer than the others', null=True),
        ),
        migrations.AddField(
            model_name='requirement',
            name='position',
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='requirement',
            name='unit',
            field=models.CharField(choices=[('months', 'months'), ('days', 'days'), ('calendar_months', 'calendar months'), ('calendar_weeks', 'calendar weeks')], default='months', max_length=16),
        ),
        migrations.AddField(
            model_name='requirement',
            name='window_words',
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddField(
            model_name='requirement',
            name='within_days',
            field=models.SmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='requirement',
            name='words',
            field=models.CharField(blank=True, help_text='What is to be done', max_length=400),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='code',
            field=models.CharField(max_length=40),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='earliest',
            field=models.PositiveSmallIntegerField(blank=True, help_text='A record earlier than this after the last does not complete the duty', null=True),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='interval',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='latest',
            field=models.PositiveSmallIntegerField(blank=True, help_text='After this the duty is overdue', null=True),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='source',
            field=models.CharField(max_length=400),
        ),
        migrations.AlterField(
            model_name='requirement',
            name='task',
            field=models.CharField(choices=[('proportioning_test', 'Proportioning test'), ('concentrate_check', 'Concentrate check'), ('inspection', 'Inspection')], max_length=24),
        ),
        migrations.CreateModel(
            name='Programme',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=60)),
                ('name', models.CharField(max_length=120)),
                ('edition', models.CharField(max_length=120)),
                ('note', models.CharField(blank=True, help_text='Where it governs', max_length=300)),
                ('everywhere', models.BooleanField(default=False)),
            ],
            options={
                'ordering': ['-everywhere', 'name', 'edition', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('code', 'edition'), name='programme_edition_once')],
            },
        ),
        migrations.AddField(
            model_name='requirement',
            name='programme',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='requirements', to='schedule.programme'),
        ),
        migrations.AddConstraint(
            model_name='requirement',
            constraint=models.UniqueConstraint(fields=('programme', 'code'), name='requirement_once'),
        ),
        migrations.AddConstraint(
            model_name='requirement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('earliest', None), ('interval', None), ('latest', None)), models.Q(('earliest__isnull', False), ('interval__isnull', False), ('latest__isnull', False), ('earliest__lte', models.F('interval')), ('interval__gt', 0), ('latest__gte', models.F('interval')), ('latest__lte', django.db.models.expressions.CombinedExpression(models.F('interval'), '+', models.F('earliest')))), _connector='OR'), name='requirement_window_in_order', violation_error_message='The interval is above 0; earliest, interval and latest follow in this order, and the window is no wider than the interval.'),
        ),
        migrations.AddConstraint(
            model_name='requirement',
            constraint=models.CheckConstraint(condition=models.Q(('first_latest', None), ('first_latest__gte', models.F('latest')), _connector='OR'), name='requirement_first_is_longer', violation_error_message='The first cycle is at least as long as the others.'),
        ),
    ]
