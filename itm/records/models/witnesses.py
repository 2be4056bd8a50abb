"""The signature of somebody from the authority who was there."""

from django.db import models
from django.db.models import Q

from itm.accounts.models import Organisation, User
from itm.core.history import Tracked
from itm.core.withdrawing import Withdrawable, unchanged, withdrawn_whole
from itm.records.models.kept import Record, Seal
from itm.registry.access import Scoped, ScopedQuerySet
from itm.registry.models import Site

# Written once; all that may follow is its withdrawal.
_STAYS = (
    "site_id", "seal_id", "organisation_id", "user_id", "name", "qualification", "number", "remark",
    "present_on", "signed_at", "digest",
)  # fmt: skip
UNCHANGED = unchanged("signature", _STAYS, "a signature is withdrawn and never changed")


class Witness(Tracked, Scoped, Withdrawable):
    """Beside a sealed record, which an authority does not see before: it names the digest that it
    was given for, and has a digest of its own over everything that it says."""

    class Saw(models.TextChoices):
        DISCHARGE = "discharge", "the discharge and the catching of samples"
        BENCH = "bench", "the standards and the readings"
        BOTTLES = "bottles", "the taking of bottles from the tank"
        RESTORATION = "restoration", "the putting back into service"
        PAPERS = "papers", "papers alone"

    site_path = "site"
    guard = "kept"
    guard_column = "withdrawn_at"
    guard_rules = UNCHANGED
    site = models.ForeignKey(Site, models.PROTECT, related_name="witnesses")
    seal = models.ForeignKey(Seal, models.PROTECT, related_name="witnesses")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="witnesses")
    user = models.ForeignKey(User, models.PROTECT, related_name="witnessed")
    name = models.CharField(max_length=120)
    qualification = models.CharField(max_length=120)
    number = models.CharField(max_length=60, blank=True)
    saw = models.JSONField(help_text="Codes of what was seen")
    remark = models.CharField(max_length=500, blank=True)
    present_on = models.DateField()
    signed_at = models.DateTimeField()
    digest = models.CharField(max_length=64, help_text="SHA-256 of what it says, RFC 8785")
    objects = ScopedQuerySet.as_manager()

    class Meta:
        ordering = ["signed_at", "pk"]
        verbose_name_plural = "witnesses"
        constraints = [
            models.UniqueConstraint(
                fields=["seal", "user"],
                condition=Q(withdrawn_at=None),
                name="witness_signs_once",
                violation_error_message="You have signed this record as a witness already.",
            ),
            models.CheckConstraint(
                condition=~Q(name="") & ~Q(qualification=""),
                name="witness_is_named",
                violation_error_message="A signature shows name and qualification; write both.",
            ),
            withdrawn_whole("witness_withdrawn_is_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.organisation}"

    @staticmethod
    def open_to(kind: str) -> Q:
        """A contractor sees those on its own records, which `made_by` brings."""
        return Q(pk__in=[]) if kind == "contractor" else Q()

    @staticmethod
    def made_by(organisation_id: int | None) -> Q | None:
        return (
            Q(organisation=organisation_id)
            | Q(seal__test__visit__contractor=organisation_id)
            | Q(seal__concentrate_check__organisation=organisation_id)
        )

    @property
    def record(self) -> Record:
        return self.seal.record

    @property
    def seen(self) -> list[str]:
        return [str(self.Saw(code).label) for code in self.saw]
