from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("registry", "0013_certificates_of_instruments")]

    operations = [
        migrations.RemoveField("instrument", "certificate"),
        migrations.RemoveField("instrument", "certificate_due_on"),
    ]
