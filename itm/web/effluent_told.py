"""Effluent in words: sums, what does not add up, and its lines, for pages, sheets and tables."""

from collections.abc import Iterable
from typing import Any

from itm.core.conversions import like, quantity
from itm.core.figures import day, instant
from itm.records.effluent import AtLeast, Balance, Kind
from itm.registry.contents import amount, bare
from itm.web.holding import LITRES

NOT_NOTED = "not noted"
HEAD = (
    "Site", "Test day", "Day", "What", "Volume, L", "As typed", "Concentrate in it, %", "PFAS",
    "Where", "Who took it away", "Number of the paper", "Remark", "Noted by", "Counts",
)  # fmt: skip
WITHDRAWN = "withdrawn: "


def told(found: Balance) -> dict[str, Any]:
    """Sums and what does not add up, in the units of the reader."""
    return {"sums": sums(found), "differences": found.differences(like(LITRES))}


def sums(found: Balance) -> list[tuple[str, str]]:
    return [(str(kind.label), sum_of(found, kind.value)) for kind in Kind]


def sum_of(found: Balance, kind: str) -> str:
    """What nobody noted is said as that and not as nothing."""
    return amount(getattr(found, kind), like(LITRES)) if kind in found.noted else NOT_NOTED


def sure(found: AtLeast) -> str:
    """What the runs alone say, as a hint beside the entry."""
    if not found.runs:
        return ""
    runs = "1 run" if found.runs == 1 else f"{found.runs} runs"
    return (
        f"By flow and time of {runs} at least {amount(found.volume, like(LITRES), digits=3)}; what "
        "ran before foam was seen, after the last sample and at the flush is not in it."
    )


def on_paper(lines: Iterable[Any], zone: str) -> list[dict[str, Any]]:
    """Lines as a sheet prints them."""
    return [
        {
            "on": day(one.happened_on),
            "what": one.get_kind_display(),
            **volume_of(one),
            "percent": f"{bare(one.percent)} %" if one.percent is not None else "",
            "pfas": one.get_pfas_display(),
            "place": one.place,
            "hauler": one.hauler,
            "paper": one.paper,
            "note": one.note,
            "by": one.organisation.name,
            "withdrawn": f"{WITHDRAWN}{one.withdrawn_because} ({one.withdrawn_by}, "
            f"{instant(one.withdrawn_at, zone)})"
            if one.withdrawn_at
            else "",
        }
        for one in lines
    ]


def volume_of(one: Any) -> dict[str, str]:
    """In the reader's units, with what was typed apart: in one line both would take half the
    sheet."""
    volume, _, typed = quantity(one.volume_typed).partition(" (")
    return {"volume": volume, "typed": f"({typed}" if typed else ""}


def table_row(one: Any) -> tuple[str | float | None, ...]:
    """Under HEAD; withdrawn lines too."""
    return (
        one.site.name, str(one.visit) if one.visit else "", one.happened_on.isoformat(),
        one.get_kind_display(), round(one.volume * 1000, 3), one.volume_typed,
        None if one.percent is None else float(one.percent), one.get_pfas_display(),
        one.place, one.hauler, one.paper, one.note, one.organisation.name,
        WITHDRAWN + one.withdrawn_because if one.withdrawn_at else "yes",
    )  # fmt: skip
