"""Effluent of a day: its lines in force as texts, and what each kind asks."""

from typing import Any

from itm.accounts.actor import Actor
from itm.doors.asked import asked
from itm.records import effluent
from itm.records.effluent_forms import TITLES, EffluentForm
from itm.records.models import EffluentLine, Visit


def lines(actor: Actor, visit: Visit) -> list[dict[str, Any]]:
    """The oldest first, as they were noted; what was withdrawn is read on the page."""
    rows = [one for one in effluent.lines_of(actor, visit) if one.withdrawn_at is None]
    return [
        {
            "key": str(one.key),
            "kind": one.kind,
            "volume": one.volume_typed,
            "place": one.place,
            "hauler": one.hauler,
            "paper": one.paper,
            "note": one.note,
            "by": one.organisation.name,
        }
        for one in reversed(rows)
    ]


def asked_of_kinds() -> list[dict[str, Any]]:
    """Kinds in their order, each with its words and what `note_effluent` takes of it."""
    return [
        {
            "kind": kind.value,
            "label": str(kind.label),
            "title": TITLES[kind],
            "fields": asked(EffluentForm(kind=kind.value)),
        }
        for kind in EffluentLine.Kind
    ]
