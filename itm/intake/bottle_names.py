"""Bottles by their labels, as a table names them."""

from collections.abc import Mapping

from itm.accounts.actor import Actor
from itm.core.figures import day
from itm.intake.tables.cell_values import Got
from itm.intake.tables.cells import Cell, text_of
from itm.intake.tables.known import Known, fold
from itm.records.models import ConcentrateCheck, ConcentrateSample

State = ConcentrateCheck.State


class Bottles(Known):
    """Those of the own drafts can be named; of others it is said why not. In an amendment the
    bottle of a sealed check stands once more under its label, and then that one is meant."""

    def __init__(self, actor: Actor, *, means: Mapping[str, str] | None = None) -> None:
        own = ConcentrateSample.objects.visible_to(actor).filter(organisation=actor.organisation_id)
        drafts = own.filter(concentrate_check__state=State.DRAFT)
        related = ("concentrate_check__site", "concentrate_check__tank", "report")
        self.samples = {sample.label: sample for sample in drafts.select_related(*related)}
        super().__init__("bottle", self.samples, means=means)
        closed = own.exclude(concentrate_check__state=State.DRAFT).values_list(
            "label", "concentrate_check__state", "concentrate_check__tank__tag",
            "concentrate_check__checked_on",
        )  # fmt: skip
        self._closed = {
            fold(label): f"{label} belongs to the check of {tank} on {day(on)}, which is "
            f"{State(state).label} and takes no more values."
            for label, state, tank, on in closed
        }

    def read(self, cell: Cell) -> Got:
        """Codes: those of `Known`, and closed."""
        text = text_of(cell)
        if text in self.samples and isinstance(cell, str):
            return Got(text, text)  # another label may differ by its case alone
        got = super().read(cell)
        if got.code == "unknown_name" and (said := self._closed.get(fold(text))):
            fix = "Take the row out; a handed-in check can be sent back, a sealed one corrected."
            return Got(None, text, "closed", said, fix)
        return got
