"""Where a thing comes to, from which day on."""

from typing import Any

from django import forms

from itm.core.fields import DayField
from itm.registry import queries
from itm.registry.forms.base import CHOOSE, Refusing
from itm.registry.forms.equipment import PlaceField, place_value
from itm.registry.models import Equipment, FoamSystem, Proportioner, Tank


class MoveForm(Refusing, forms.Form):
    """A proportioner comes to a system and a tank, equipment to one place. `place` holds both."""

    slip = forms.BooleanField(
        required=False,
        label="It never stood there: the place was entered wrongly",
        help_text="Then it is put right and no move is kept.",
    )
    moved_on = DayField(label="Moved on", required=False)
    reason = forms.CharField(label="Why", max_length=200, required=False)

    place: dict[str, Any]

    def __init__(self, data: Any = None, *, row: Proportioner | Equipment, **kwargs: Any) -> None:
        super().__init__(data or None, **kwargs)
        if isinstance(row, Proportioner):
            site = row.system.site
            places: dict[str, Any] = {
                "system": (queries.systems_to_choose(site), row.system, "Foam system"),
                "tank": (queries.tanks_to_choose(site), row.tank, "Draws from tank"),
            }
            for name, (rows, now, label) in places.items():
                field = forms.ModelChoiceField(rows, label=label, empty_label=CHOOSE)
                self.fields[name], self.initial[name] = field, now
        else:
            self.fields["stands_at"] = PlaceField(row.site, label="Stands at")
            self.initial["stands_at"] = place_value(row)
        self.order_fields(["system", "tank", "stands_at", "moved_on", "reason", "slip"])

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        dated = cleaned.get("moved_on") or "moved_on" in self.errors
        if not cleaned.get("slip") and not dated:
            self.add_error("moved_on", "Since which day does it stand there?")
        if "stands_at" in cleaned:
            self.place = cleaned["stands_at"]
        else:
            self.place = {"system": cleaned.get("system"), "tank": cleaned.get("tank")}
        return cleaned

    @property
    def values(self) -> dict[str, Any]:
        slip = self.cleaned_data["slip"]
        system: FoamSystem | None = self.place["system"]
        tank: Tank | None = self.place["tank"]
        return {
            "system": system,
            "tank": tank,
            "on": None if slip else self.cleaned_data["moved_on"],
            "reason": "" if slip else self.cleaned_data["reason"],
        }
