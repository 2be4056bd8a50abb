"""Figures as a file writes them: decimal comma or point, thousands, units, signs.

One file has one way. Which one is found from cells that can be read in one way only; where all can
be read in two, a person is asked, because a factor of a thousand would look like a figure.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from itm.intake.tables.cells import Cell, bare
from itm.intake.tables.units import unit_of

Sign = Literal["", ".", ","]
MOST_DIGITS = 20
NOTHING = frozenset(
    ("n/a", "na", "n.a.", "n. a.", "-", "–", "—", "--", "none", "nil", "null", "?", "x", "tbd",
     "not measured", "not taken", "missing", "#n/a", "#value!", "#ref!", "#div/0!", "#name?")
)  # fmt: skip
BODY = re.compile(r"^(?P<body>[+\-−]?\d[\d.,'’ ]*|[+\-−]?[.,]\d+)(?P<rest>.*)$")
GROUPED = {
    ".": re.compile(r"^[1-9]\d{0,2}(,\d{3})+(\.\d*)?$"),
    ",": re.compile(r"^[1-9]\d{0,2}(\.\d{3})+(,\d*)?$"),
}
PLAIN = {".": re.compile(r"^\d*\.?\d*$"), ",": re.compile(r"^\d*,?\d*$")}
SPACED = re.compile(r"^\d{1,3}(?:[ '’]\d{3})+(?:[.,]\d*)?$")


@dataclass(frozen=True)
class Figure:
    """The digits without sign and thousands' blanks, and what follows them."""

    negative: bool
    body: str
    rest: str
    sound: bool = True  # blanks in it part thousands, and nothing else


def figure_in(text: str) -> Figure | None:
    """None where the cell does not begin with a number."""
    found = BODY.match(bare(text).lstrip("'"))
    if found is None:
        return None
    body = found["body"].rstrip()
    negative = body[0] in "-−"
    digits = body.lstrip("+-−").strip()
    sound = True
    if re.search(r"[ '’]", digits):
        sound = SPACED.match(digits) is not None
        digits = re.sub(r"[ '’]", "", digits)
    return Figure(negative, digits, found["rest"].strip(), sound)


def is_nothing(text: str) -> bool:
    return bare(text).casefold() in NOTHING


def tells(cell: Cell, most: Decimal | None = None) -> Literal["", ".", ",", "unclear"]:
    """Which decimal sign this cell shows by itself; nothing where it shows none.

    `most` is the largest value that is believed here: 1,334 as an index is no 1334.
    """
    if not isinstance(cell, str) or (found := figure_in(cell)) is None:
        return ""
    body = found.body
    points, commas = body.count("."), body.count(",")
    if points and commas:
        last: Sign = "." if body.rindex(".") > body.rindex(",") else ","
        return last if GROUPED[last].match(body) else ""
    for sign, other in ((".", ","), (",", ".")):
        count = body.count(sign)
        if count > 1:
            return other if GROUPED[other].match(body) else ""  # type: ignore[return-value]
        if count == 1:
            if not GROUPED[other].match(body):
                return sign  # type: ignore[return-value]
            whole = Decimal(body.replace(sign, ""))
            return sign if most is not None and whole > most else "unclear"  # type: ignore[return-value]
    return ""


def value_of(found: Figure, sign: Sign) -> Decimal | None:
    """The number under the file's decimal sign; None where it cannot be read under it.

    Without a sign settled, only what has none in it is read.
    """
    body = found.body
    if not found.sound or len(body) > MOST_DIGITS:
        return None
    if not sign:
        return None if re.search(r"[.,]", body) else _signed(Decimal(body), found.negative)
    if PLAIN[sign].match(body) and body not in (".", ","):
        digits = body.replace(sign, ".")
    elif GROUPED[sign].match(body):
        other = "," if sign == "." else "."
        digits = body.replace(other, "").replace(sign, ".")
    else:
        return None
    return _signed(Decimal(digits), found.negative)


def _signed(value: Decimal, negative: bool) -> Decimal:
    return -value if negative else value


def unit_after(found: Figure) -> tuple[str, bool]:
    """The unit behind the number, and whether what stands there is one at all."""
    if not found.rest:
        return "", True
    unit = unit_of(found.rest)
    return unit, bool(unit)
