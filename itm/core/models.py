"""Tables that stand under all others."""

from django.db import models

from itm.core.folding import Fold
from itm.core.history import Change
from itm.core.outbox import Job

__all__ = ["Change", "Fold", "Installation", "Job"]


class Installation(models.Model):
    """What kind of installation this database is; the demo never enters one of another kind."""

    class Kind(models.TextChoices):
        DEMO = "demo"

    kind = models.CharField(max_length=20, choices=Kind.choices, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.kind
