"""The ranges of a lot's certificate are kept, one for each property that it names."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.registry.models import ConcentrateLot, LotRange
from itm.registry.properties import PROPERTIES
from itm.registry.services import keep, require_own


@dataclass(frozen=True)
class Range:
    """As the certificate gives it: at least one end, in the engine's unit and as typed."""

    lowest: Decimal | None = None
    highest: Decimal | None = None
    lowest_typed: str = ""
    highest_typed: str = ""
    condition: str = ""

    @property
    def empty(self) -> bool:
        return self.lowest is None and self.highest is None


@transaction.atomic
def set_ranges(*, actor: Actor, lot: ConcentrateLot, ranges: Mapping[str, Range]) -> list[LotRange]:
    """All ranges of the certificate; one that is not named any more is withdrawn. May run twice.

    Raises Forbidden; Refused range_reversed.
    """
    require_own(actor, lot, "change a lot")
    ConcentrateLot.objects.select_for_update().get(pk=lot.pk)
    there = {row.name: row for row in LotRange.objects.filter(lot=lot)}
    for name in PROPERTIES:
        given = ranges.get(name, Range())
        if given.empty:
            if name in there:
                keep(there[name], {"withdrawn": True}, by=actor, verb="withdrawn")
            continue
        if (
            given.lowest is not None
            and given.highest is not None
            and (given.lowest > given.highest)
        ):
            raise Refused(
                "range_reversed",
                f"The {PROPERTIES[name].words} runs from {given.lowest_typed} to "
                f"{given.highest_typed}: write the lower end first.",
                f"{name}-lowest",
            )
        row = there.get(name) or LotRange(lot=lot, name=name)
        keep(row, {**vars(given), "withdrawn": False}, by=actor)
    return ranges_of(lot)


def ranges_of(lot: ConcentrateLot) -> list[LotRange]:
    """Those in force, in the order of the table of properties."""
    rows = {row.name: row for row in lot.ranges.all() if not row.withdrawn}
    return [rows[name] for name in PROPERTIES if name in rows]
