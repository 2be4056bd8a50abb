
import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('records', '0008_own_band_of_a_flow_point'),
        ('registry', '0016_movement_has_a_volume'),
    ]

    operations = [
        migrations.CreateModel(
            name='LatestRecord',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('tested_on', models.DateField()),
                ('rank', models.PositiveSmallIntegerField(choices=[(1, 'lean'), (2, 'rich'), (3, 'undecided')], help_text='Empty where the record proves the device', null=True)),
                ('proportioner', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='latest', to='registry.proportioner')),
                ('test', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.proportioningtest')),
            ],
            options={
                'indexes': [models.Index(condition=models.Q(('rank__isnull', False)), fields=['rank', 'tested_on'], name='latest_not_proven')],
            },
        ),
    ]
