from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0002_withdrawn_bottles")]

    operations = [migrations.RenameField("notice", "by", "told_by")]
