import uuid

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0011_attachments")]

    operations = [
        migrations.CreateModel(
            name='Certificate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('number', models.CharField(max_length=80)),
                ('laboratory', models.CharField(blank=True, max_length=120)),
                ('issued_on', models.DateField(blank=True, null=True)),
                ('due_on', models.DateField(blank=True, null=True)),
                ('withdrawn_because', models.CharField(blank=True, max_length=200)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='certificates', to='registry.instrument')),
            ],
            options={
                'ordering': [models.OrderBy(models.F('issued_on'), descending=True, nulls_last=True), '-pk'],
                'constraints': [models.UniqueConstraint(condition=models.Q(('withdrawn_because', '')), fields=('instrument', 'number'), name='certificate_number_once', violation_error_message='This instrument already has a certificate of that number.'), models.CheckConstraint(condition=models.Q(('issued_on', None), ('due_on', None), ('due_on__gt', models.F('issued_on')), _connector='OR'), name='certificate_days_in_order', violation_error_message='The next calibration is due after the day of this one.')],
            },
        ),
    ]
