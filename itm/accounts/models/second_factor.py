"""What a person has besides the password, where the person wants it."""

from django.db import models
from django.db.models import F

from itm.accounts.models.people import User


class SecondFactor(models.Model):
    """A secret shared with a device that shows a new code every half minute (RFC 6238).

    It is kept as it is, because both sides have to compute with it: whoever reads this table can
    make codes, but no passwords. It counts once a first code was typed.
    """

    user = models.OneToOneField(User, models.CASCADE, related_name="second_factor")
    secret = models.CharField(max_length=64, help_text="In letters and digits of RFC 4648, base 32")
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(
        default=0, help_text="Half minutes since 1970 of the last code taken: none is taken twice"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(confirmed_at=None)
                | models.Q(confirmed_at__gte=F("begun_at")),
                name="second_factor_confirmed_after_it_began",
            )
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"second step of {self.user}"


class RecoveryCode(models.Model):
    """Signs in once without the device. Shown once; only the digest is kept."""

    factor = models.ForeignKey(SecondFactor, models.CASCADE, related_name="codes")
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of 80 random bits")
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{'used' if self.used_at else 'unused'} code of {self.factor.user}"
