"""What makes a report hold: the record's course, signatures, the seal and the way to check it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import segno

from itm.core.figures import day
from itm.reports.wording import VERBS, Fact, SiteClock, by_whom, facts, iso_day

GROUP = 8  # characters of a digest that are set together, so that a person can compare them

CAUTIONS = (
    "This report says what was measured on the day, at the flows and with the water and "
    "concentrate named in it. It approves no design and says nothing about other flows or later "
    "days.",
    "The arithmetic is a tool's; the judgement is a qualified person's, and the authority having "
    "jurisdiction has the last word. Local code, the listing of the equipment, the maker's manual "
    "and licensed practice come before anything printed here.",
    "One valve left shut disables a foam system. Compare the restoration list with the system "
    "itself before you rely on it.",
    "Solution, flush water, standards and samples are waste; where the concentrate holds PFAS, the "
    "law on PFAS waste applies to all of them.",
)


@dataclass(frozen=True)
class MoveLine:
    what: str
    at: str
    by: str
    reason: str


@dataclass(frozen=True)
class Amendment:
    """The earlier record that this one corrects."""

    number: str
    digest: str
    reason: str


def amendment(document: dict[str, Any]) -> Amendment | None:
    earlier = document["amends"]
    if not earlier:
        return None
    return Amendment(str(earlier["number"]), grouped(earlier["digest"]), earlier["reason"])


def moves(document: dict[str, Any], clock: SiteClock) -> tuple[MoveLine, ...]:
    return tuple(
        MoveLine(
            what=VERBS.get(move["verb"], move["verb"]),
            at=clock.moment(move["at"]),
            by=by_whom(move["person"], move["organisation"]),
            reason=move["reason"],
        )
        for move in document["moves"]
    )


def handed_in(document: dict[str, Any], clock: SiteClock) -> tuple[Fact, ...]:
    deed = document["handed_in"]
    if not deed:
        return ()
    return facts(
        ("Name", deed["by"]),
        ("For", deed["organisation"]),
        ("Handed in", clock.moment(deed["at"])),
    )


def signed(document: dict[str, Any], clock: SiteClock) -> tuple[Fact, ...]:
    seal = document["seal"]
    return facts(
        ("Name", seal["signer"]),
        ("Qualification", seal["qualification"]),
        ("Number", seal["number_of_licence"]),
        ("Valid until", iso_day(until) if (until := seal.get("licence_until")) else ""),
        ("For", seal["signed_for"]),
        ("Signed and sealed", clock.moment(seal["sealed_at"])),
    )


def licence_ended(document: Mapping[str, Any], worked_on: date) -> str:
    """Whether the licence of the signature had ended on the day of the work; nothing before it is
    signed, or where no date was given."""
    until = document.get("seal", {}).get("licence_until")
    if not until or date.fromisoformat(until) >= worked_on:
        return ""
    return (
        f"The licence or certificate of {document['seal']['signer']} ended on {iso_day(until)}, "
        f"before the day of the work, {day(worked_on)}."
    )


def grouped(digest: str) -> str:
    """Eight groups of eight: a person compares them without losing the place."""
    return " ".join(digest[i : i + GROUP] for i in range(0, len(digest), GROUP))


def qr(address: str) -> str:
    """The address as a QR symbol, SVG text. Level M and a quiet zone of 4 modules: common
    practice, no published source. The size on paper stands in the stylesheet."""
    symbol = segno.make(address, error="m", micro=False, boost_error=False)
    text: str = symbol.svg_inline(
        border=4, omitsize=True, light="#fff", svgclass="qr", lineclass=None,
        title=f"QR code of the address {address}",
    )  # fmt: skip
    return text.replace("<svg ", '<svg role="img" ', 1)
