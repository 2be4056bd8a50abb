"""What stood on the instrument becomes its first certificate, of a day that nobody entered."""

from django.db import migrations


def carry_over(apps, schema_editor):
    """May run twice. The instrument's own history still says who entered it."""
    instrument = apps.get_model("registry", "Instrument")
    certificate = apps.get_model("registry", "Certificate")
    for row in instrument.objects.exclude(certificate="", certificate_due_on=None):
        number = row.certificate or "number not entered"
        if not certificate.objects.filter(instrument=row, number=number).exists():
            certificate.objects.create(
                instrument=row, number=number, due_on=row.certificate_due_on
            )


def carry_back(apps, schema_editor):
    """The one with the latest day of issue; the older columns hold no more."""
    instrument = apps.get_model("registry", "Instrument")
    certificate = apps.get_model("registry", "Certificate")
    for row in instrument.objects.all():
        kept = certificate.objects.filter(instrument=row, withdrawn_because="").first()
        if kept is not None:
            row.certificate, row.certificate_due_on = kept.number, kept.due_on
            row.save()


class Migration(migrations.Migration):
    dependencies = [("registry", "0012_certificates")]
    operations = [migrations.RunPython(carry_over, carry_back)]
