"""Where the density of a concentrate comes from, of a bench and of a direct test alike."""

from django.db import models


class DensityFrom(models.TextChoices):
    NOT_SAID = "", "not said"
    CERTIFICATE = "certificate", "the certificate of the lot"
    CHECK = "check", "a concentrate check of this tank"
    DATA_SHEET = "data_sheet", "a data sheet of the product"
    MEASURED = "measured", "a sample of this concentrate, measured that day"
