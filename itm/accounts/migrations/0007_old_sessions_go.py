from django.db import migrations


class Migration(migrations.Migration):
    """The table of sessions that know of no person: everybody signs in once more. Nothing is put back
    on the way back, because a session that ended is no loss."""

    dependencies = [("accounts", "0006_entrance")]

    operations = [
        migrations.RunSQL("DROP TABLE IF EXISTS django_session", migrations.RunSQL.noop),
    ]
