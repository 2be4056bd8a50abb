"""Texts of an entry through the very forms of the pages, so that both are judged alike."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django import forms

from itm.core.errors import Refused
from itm.core.quantities import QuantityField, apart
from itm.doors.entry import Call, Texts
from itm.intake.check import Problem
from itm.records.merge import Crossed
from itm.records.outlet_fields import OutletsField


class Wrong(Refused):
    """One or more fields cannot be taken; as a refusal it is the first of them."""

    def __init__(self, problems: list[Problem]) -> None:
        first = problems[0]
        super().__init__(first.code, first.sentence, first.place)
        self.problems = problems


def filled(form_class: type[forms.BaseForm], put: Texts, **options: Any) -> Any:
    """The form bound to the texts; it has no field for a text that is not its own.

    Raises Refused unknown_field, not_a_list.
    """
    form = form_class({}, **options)
    require_known(put, form.fields)
    data: dict[str, Any] = {}
    for name, value in put.items():
        data |= _data(name, form.fields[name], value)
    form.data, form.is_bound = data, True  # a form of the register takes {} for no answer at all
    return form


def only_put(form: Any, put: Texts) -> Any:
    """A merging form judges what is put and leaves every other field as it stands."""
    for name in set(form.fields) - set(put):
        del form.fields[name]
    return form


def cleaned(form: Any) -> dict[str, Any]:
    """Raises Wrong with every problem of the form."""
    if form.is_valid():
        values: dict[str, Any] = form.cleaned_data
        return values
    raise Wrong(
        [
            Problem("" if name == "__all__" else name, error.code or "invalid", sentence)
            for name, errors in form.errors.as_data().items()
            for error in errors
            for sentence in error.messages
        ]
    )


def require_known(put: Texts, known: Mapping[str, Any]) -> None:
    """Raises Refused unknown_field."""
    if unknown := sorted(set(put) - set(known)):
        raise Refused(
            "unknown_field",
            f"There is no “{unknown[0][:40]}” here; it can hold {', '.join(known) or 'nothing'}.",
            unknown[0],
        )


@contextmanager
def seen_as(call: Call, text: str, column: str) -> Iterator[Mapping[str, str]]:
    """A service tells what stands by its column, and an entry by the name of its text."""
    opened = call.entry.opened
    try:
        yield {column: opened[text]} if text in opened else {}
    except Crossed as crossed:
        raise Crossed({text: crossed.places[column]}, {text: crossed.now[column]}) from crossed


LISTED = (forms.ModelMultipleChoiceField, forms.MultipleChoiceField, OutletsField)


def _data(name: str, field: forms.Field, value: "str | list[str]") -> dict[str, Any]:
    many = isinstance(field, LISTED)
    if many != isinstance(value, list):
        raise Refused(
            "not_a_list", "Write a list here." if many else "Write one text here, no list.", name
        )
    if isinstance(field, QuantityField) and isinstance(value, str):
        number, unit = apart(value.strip(), field.units)
        if number.strip() and not unit:
            raise Refused(
                "unit_missing",
                f"“{value.strip()[:40]}” has no unit that is known here: write the number, a space "
                f"and one of {', '.join(field.units)}.",
                name,
            )
        return {name: number, f"{name}_unit": unit}
    return {name: value}
