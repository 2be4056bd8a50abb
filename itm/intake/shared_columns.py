"""What the tables of several kinds share."""

from collections.abc import Iterable
from decimal import Decimal

from calc.units import FLOW, VOLUME
from itm.intake.models import Upload
from itm.intake.tables.layout import TableColumn

Kind = Upload.Kind
HUNDRED = Decimal(100)
FLOWS, VOLUMES = tuple(FLOW), tuple(VOLUME)


def spellings(choices: Iterable[tuple[str, str]], **more: str) -> dict[str, str]:
    """Code and words of each choice, in any case, and other words for a code."""
    out = {}
    for code, label in choices:
        if code:
            out[code.casefold()] = code
            out[code.replace("_", " ").casefold()] = code
            out[str(label).casefold()] = code
    return out | {word.replace("_", " "): code for word, code in more.items()}


SITE = TableColumn(
    "site", "name", "Site", "Quay 9", needed=True, longest=80, aliases=("facility", "location"),
    help="As the register names it.",
)  # fmt: skip
SYSTEM = TableColumn(
    "system", "name", "System", "Truck rack deluge", longest=80, aliases=("foam system",),
    help="Needed where two systems of a site have a proportioner of the same tag.",
)  # fmt: skip
