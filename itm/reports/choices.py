"""What a copy of a report can be printed on, and in which units."""

from itm.core.measures import Measures

SIZES = {"a4": "A4", "letter": "Letter"}  # of paper: name in an address, name in words and in CSS
KEPT = "a4"  # paper of the report that is kept
TYPED = "typed"  # units of the report that is kept
UNITS: dict[str, str] = {TYPED: "As typed", **{str(k): str(v) for k, v in Measures.choices}}
