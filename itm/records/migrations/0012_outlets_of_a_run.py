
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('records', '0011_device_clocks'),
    ]

    operations = [
        migrations.AddField(
            model_name='flowrun',
            name='outlets',
            field=models.JSONField(blank=True, default=list),
        ),
    ]
