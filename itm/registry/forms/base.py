"""What every form of the registry does."""

from copy import copy
from typing import Any

from django import forms
from django.db.models.fields import BLANK_CHOICE_DASH

from itm.core.forms import Refusing
from itm.core.quantities import QuantityField
from itm.registry.services import columns

CHOOSE = "Choose one"
NOTHING = ("", CHOOSE)


class RegistryForm(Refusing, forms.ModelForm):
    """A form over one row. Quantities fill two columns: the SI value and what was typed."""

    values: dict[str, Any]

    def __init__(self, data: Any = None, *, row: Any = None, **on: Any) -> None:
        """`row` to change one, which is copied: the page still shows it as it is stored.
        `on` names what a new one hangs on, for example site=…"""
        super().__init__(data or None, instance=copy(row) if row else self._meta.model(**on))
        for field in self.fields.values():
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = CHOOSE
            elif isinstance(field, forms.ChoiceField):
                choices: Any = field.choices
                field.choices = [NOTHING if one == BLANK_CHOICE_DASH[0] else one for one in choices]
        for name in self._quantities():
            self.initial[name] = getattr(self.instance, f"{name}_typed") or self.initial.get(name)

    def _quantities(self) -> list[str]:
        return [name for name, field in self.fields.items() if isinstance(field, QuantityField)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.values = dict(cleaned)
        for name in self._quantities():
            if name in cleaned:
                spread = columns({name: cleaned[name]}, self.instance)
                cleaned[name] = spread[name]
                setattr(self.instance, f"{name}_typed", spread[f"{name}_typed"])
        return cleaned

    def _get_validation_exclusions(self) -> set[str]:
        """Rules over columns that stand on no form (site, retired) are asked as well.

        Django leaves out every column that the form does not show, and with it each constraint
        that names one: “this site already has a system with that name” would never be asked.
        """
        left_out = super()._get_validation_exclusions()  # type: ignore[misc]
        return {n for n in left_out if n in self.fields} | {f"{n}_typed" for n in self.errors}
