"""Who is signed in where, and who tried in vain. Neither is anybody's record: no history."""

from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models

from itm.accounts.models.people import User


class SignedIn(AbstractBaseSession):
    """A session in a browser. Its key is the secret of the cookie and goes onto no page."""

    user = models.ForeignKey(User, models.CASCADE, null=True, related_name="sessions")
    browser = models.CharField(max_length=300, blank=True, help_text="As it calls itself")
    began_at = models.DateTimeField(null=True)
    used_at = models.DateTimeField(help_text="To ten minutes")


class Try(models.Model):
    """One try at a door, counted for the account and for the place that it came from.

    Both are kept as keyed digests: to count needs no names, and a list of who mistyped would be one
    of who works here.
    """

    class What(models.TextChoices):
        SIGN_IN = "sign_in", "signing in by password"
        CODE = "code", "the second step of signing in"
        PROOF = "proof", "showing once more who one is"
        RESET = "reset", "asking for a new password by mail"
        LINK = "link", "opening a link that is read without an account"

    what = models.CharField(max_length=8, choices=What.choices)
    account = models.CharField(max_length=64)
    caller = models.CharField(max_length=64)
    at = models.DateTimeField(db_index=True)

    class Meta:
        indexes = [
            models.Index(fields=["account", "what", "at"], name="try_of_account"),
            models.Index(fields=["caller", "what", "at"], name="try_of_caller"),
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.at}"
