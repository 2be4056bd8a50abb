"""Valves, strainers, pumps and the rest: what each is, where it stands, how a valve normally is."""

from typing import Any

from django import forms

from itm.core.fields import DayField
from itm.registry import queries_equipment
from itm.registry.forms.base import NOTHING, RegistryForm
from itm.registry.models import Equipment, FoamSystem, Site, Tank
from itm.registry.models.equipment import VARIETIES

KIND_AND_VARIETY = ("kind", "variety")
POSITION = ("normal_position", "position_note", "walk_order")
ALONE = "site"  # at the site alone


def what_choices() -> list[Any]:
    """Kind and variety in one choice, so that no variety of another kind can be picked."""
    out: list[Any] = [NOTHING]
    for kind, label in Equipment.Kind.choices:
        varieties = VARIETIES.get(kind)
        if varieties is None:
            out.append((kind, label))
        else:
            out.append(
                (label, [(f"{kind}:{v}", f"{label}, {text}") for v, text in varieties.items()])
            )
    return out


class PlaceField(forms.ChoiceField):
    """A system or tank of the site, or the site alone; cleans to the columns of both."""

    def __init__(self, site: Site, **kwargs: Any) -> None:
        self.places: dict[str, FoamSystem | Tank | None] = {ALONE: None}
        groups = []
        for name, label, rows in queries_equipment.places_to_choose(site):
            self.places |= {f"{name}:{row.key}": row for row in rows}
            groups.append((label, [(f"{name}:{row.key}", str(row)) for row in rows]))
        choices = [NOTHING, *[g for g in groups if g[1]], (ALONE, "At the site alone")]
        super().__init__(choices=choices, **kwargs)

    def clean(self, value: Any) -> dict[str, FoamSystem | Tank | None]:
        place = self.places[super().clean(value)]
        return {
            "system": place if isinstance(place, FoamSystem) else None,
            "tank": place if isinstance(place, Tank) else None,
        }


def place_value(row: Equipment) -> str:
    if row.system is not None:
        return f"system:{row.system.key}"
    return f"tank:{row.tank.key}" if row.tank is not None else ALONE


class EquipmentForm(RegistryForm):
    what = forms.ChoiceField(label="What it is", choices=what_choices)
    installed_on = DayField(label="Installed on", required=False)

    class Meta:
        model = Equipment
        fields = (
            "tag", "name", "place", "pieces", "normal_position", "position_note", "walk_order",
            "size", "maker", "model", "serial_number", "installed_on", "notes",
        )  # fmt: skip
        labels = {
            "name": "What it does",
            "place": "Where one finds it",
            "pieces": "How many",
            "position_note": "Position in words",
            "walk_order": "Place in the walk back",
            "size": "Size or rating",
        }
        help_texts = {
            "name": "In words, for example: concentrate isolation valve.",
            "place": "",
            "pieces": "More than one where like pieces are looked at together.",
            "position_note": "Needed where it is neither open, closed nor regulating.",
            "walk_order": "After a test the valves are put back in this order, 1 first.",
            "size": "As on its plate.",
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}

    def __init__(
        self, data: Any = None, *, row: Any = None, site: Site | None = None, like: Any = None,
        at: str = "",
    ) -> None:  # fmt: skip
        """A new one at a site, perhaps like another or at a place; or one to change, which moves
        by a step of its own."""
        super().__init__(data, row=row, **({} if row else {"site": site}))
        shown = row or like
        if site is not None:
            field = PlaceField(site, label="Stands at")
            self.fields["stands_at"] = field
            self.initial["stands_at"] = (
                place_value(like) if like else at if at in field.places else ""
            )
        if shown is not None:
            self.initial["what"] = ":".join(filter(None, (shown.kind, shown.variety)))
        if like is not None:
            alike = set(self._meta.fields or ()) - {"tag", "serial_number", "walk_order", "notes"}
            self.initial.update({name: getattr(like, name) for name in alike})
        self.order_fields(["what", "tag", "name", "stands_at"])

    def clean(self) -> dict[str, Any]:
        """Spreads the two combined choices; a position belongs to a valve and goes with it."""
        cleaned = self.cleaned_data
        kind, _, variety = cleaned.pop("what", "").partition(":")
        spread: dict[str, Any] = {"kind": kind, "variety": variety} if kind else {}
        spread |= cleaned.pop("stands_at", {})
        if kind and kind != Equipment.Kind.VALVE:
            spread |= {"normal_position": "", "position_note": "", "walk_order": None}
            for name in POSITION:
                self.errors.pop(name, None)
        elif kind and not cleaned.get("normal_position") and "normal_position" not in self.errors:
            self.add_error("normal_position", "How does this valve stand when all is well?")
        elif cleaned.get("normal_position") == "as_noted" and not cleaned.get("position_note"):
            self.add_error("position_note", "Say in words how this valve normally stands.")
        for name, value in spread.items():
            setattr(self.instance, name, value)
        cleaned |= spread
        return super().clean()

    def _get_validation_exclusions(self) -> set[str]:
        """Without a kind there is nothing yet that a variety or a position could fit."""
        out = super()._get_validation_exclusions()
        return out | {*KIND_AND_VARIETY} if "what" in self.errors else out
