"""What cannot wait for the weekly mail is mailed at once, unless the person says no."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('notices', '0008_results_not_signed_are_told'),
    ]

    operations = [
        migrations.AddField(
            model_name='wish',
            name='at_once',
            field=models.BooleanField(default=True),
        ),
    ]
