"""Effluent on the field sheet: its rows as printed, and its lines as they are typed in."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from calc import units
from itm.doors.sheet_lines import Box, Line

if TYPE_CHECKING:
    from itm.doors.filled_sheet import Sheet

MORE = 2  # rows beside one of each kind; own choice


def effluent_rows(day: Mapping[str, Any]) -> list[dict[str, Any]]:
    """One of each kind, with what is asked of it; anything else is struck out on the paper."""
    return [
        {"label": kind["label"], **{one["name"]: True for one in kind["fields"]}}
        for kind in day["effluent_asked"]
    ]


def effluent_lines(sheet: "Sheet") -> Iterator[Line]:
    """What was noted already, then one line of each kind and some more, as on paper."""
    day = sheet.day
    labels = {kind["kind"]: kind["label"] for kind in day["effluent_asked"]}
    of = {"visit": day["visit"]["key"]}
    for one in day["effluent"]:
        told = (one["volume"], one["place"], one["hauler"], one["paper"], one["note"])
        said = ", ".join(text for text in told if text)
        yield Line("note_effluent", of, one["key"], labels[one["kind"]], done=said)
    keys = sheet.keys("note_effluent", day["visit"]["key"], len(labels) + MORE)
    # A line that came back keeps the kind that it was printed with, whatever was taken meanwhile.
    came = {key: sheet.posted.get(f"note_effluent.{key}.kind.was") for key in keys}
    left = [kind for kind in labels if kind not in came.values()]
    for key in keys:
        kind = came[key]
        if kind is None:
            kind = left.pop(0) if left else ""
        boxes = [
            Box("kind", "what", kind, choices=[("", "–"), *labels.items()]),
            Box("volume", "volume of liquid", units=units.VOLUME),
            Box("percent", "discharged: concentrate in it, %"),
            Box("place", "where it stands, went or was taken to"),
            Box("hauler", "who took it away"),
            Box("paper", "number of the paper or consent"),
            Box("happened_on", "day, where it was another, as 2026-11-30"),
            Box("note", "remark"),
        ]
        yield sheet.line("note_effluent", of, "Effluent", boxes, key=key)
