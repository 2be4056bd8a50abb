"""What a form asks, told once for every door: in the words of the page, in its order.

A device, the paper and the page that a filled sheet is typed into draw their entries from this, so
none of them can ask something else than the form that takes the answer.
"""

from collections.abc import Iterable, Mapping
from typing import Any, cast

from django import forms

from calc import units
from itm.core.durations import DurationField
from itm.core.fields import DayField
from itm.core.measures import LENGTH, TEMPERATURE
from itm.core.quantities import QuantityField
from itm.records.direct_forms import DENSITY, PERCENT

UNITS: Mapping[str, Mapping[str, float]] = {
    "flow": units.FLOW, "volume": units.VOLUME, "length": LENGTH, "share": PERCENT,
    "mass": units.MASS, "density": DENSITY, "temperature": TEMPERATURE,
}  # fmt: skip
# How a text of this kind is written, where its label does not say it.
HINTS = {
    "duration": ", as 2:30 or 150 s", "day": ", as 2026-11-30", "length": ", with unit",
    "mass": ", with unit", "density": ", with unit", "temperature": ", with unit",
}  # fmt: skip


def asked(form: forms.BaseForm, names: Iterable[str] | None = None) -> list[dict[str, Any]]:
    """Each field with its kind: one of UNITS, or a choice, choices (a list), duration, day or
    text."""
    return [
        {
            "name": name,
            "label": form[name].label,
            "help": str(form[name].help_text),
            "needed": form.fields[name].required,
            **_kind(form.fields[name]),
        }
        for name in names or form.fields
    ]


def _kind(field: forms.Field) -> dict[str, Any]:
    out: dict[str, Any] = {"kind": "text", "choices": [], "longest": None}
    if isinstance(field, QuantityField):
        kind = next(kind for kind, known in UNITS.items() if list(known) == list(field.units))
        return {**out, "kind": kind}
    if isinstance(field, forms.BooleanField):
        return {**out, "kind": "choice", "choices": [["False", "No"], ["True", "Yes"]]}
    if isinstance(field, forms.ChoiceField):
        # Keys of instruments come as objects, so each is made a text.
        pairs = cast(Iterable[tuple[object, object]], field.choices)
        kind = "choices" if isinstance(field, forms.MultipleChoiceField) else "choice"
        return {**out, "kind": kind, "choices": [[str(v), str(words)] for v, words in pairs]}
    if isinstance(field, DayField):
        return {**out, "kind": "day"}
    if isinstance(field, DurationField):
        return {**out, "kind": "duration", "longest": field.max_length}
    return {**out, "longest": cast(forms.CharField, field).max_length}
