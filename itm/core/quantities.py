"""Numbers as people type them: kept as typed beside the SI value."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from itm.core.errors import Refused
from itm.core.measures import OFFSETS, own_first

SPACES = dict.fromkeys(map(ord, "\u00a0\u2009\u202f "))
THOUSANDS_OR_DECIMAL = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
LONGEST = 20  # characters of a number, with its spaces, as columns keep it
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")


def parse_decimal(text: str, *, place: str = "", what: str = "This value") -> Decimal:
    """The number as typed, with a decimal point or comma; never a default for what is missing.

    Raises Refused not_a_number.
    """
    bare = text.strip().translate(SPACES).replace("−", "-")
    if not NUMBER.fullmatch(bare) or len(text.strip()) > LONGEST:
        raise Refused(
            "not_a_number",
            f"{what} is “{text.strip()[:30]}”; write one number such as 12.5 or 12,5.",
            place,
        )
    try:
        return Decimal(bare.replace(",", "."))
    except InvalidOperation as error:
        raise Refused("not_a_number", f"{what} is not a number.", place) from error


@dataclass(frozen=True)
class Quantity:
    """`si` in the coherent SI unit, `typed` as a person wrote it, for example “1900 L/min”."""

    si: float
    typed: str


def quantity(number: str, unit: str, units: Mapping[str, float], *, place: str = "") -> Quantity:
    """Raises Refused not_a_number, ambiguous_comma, unknown_unit.

    “1,900” is one and nine tenths to one reader and nineteen hundred to another, and a flow wrong
    by a thousand would stay hidden behind what was typed: so it is asked and not guessed.
    """
    value = number_in(number, unit, units, place=place)
    si = (float(value) - OFFSETS.get(unit, 0.0)) * units[unit]
    return Quantity(si, as_typed(number, unit))


def number_in(number: str, unit: str, units: Iterable[str], *, place: str = "") -> Decimal:
    """The number alone, of which there are not two ways to read it. Raises as `quantity` does."""
    require_one_way(number, place=place)
    if unit not in units:
        raise Refused("unknown_unit", f"“{unit}” is not one of {', '.join(units)}.", place)
    return parse_decimal(number, place=place)


def require_one_way(number: str, *, place: str = "") -> None:
    """1,900 is a thousand nine hundred to one crew and less than two to another.

    Raises Refused ambiguous_comma.
    """
    if THOUSANDS_OR_DECIMAL.fullmatch(number.strip()):
        whole, _, rest = number.strip().partition(",")
        raise Refused(
            "ambiguous_comma",
            f"“{number.strip()}” can be read in two ways; write {whole}{rest} or {whole}.{rest}.",
            place,
        )


def as_typed(number: str, unit: str) -> str:
    """“1900 L/min”, or the number alone where there is no unit."""
    return f"{number.strip()} {unit}".strip()


def apart(typed: str, units: Iterable[str]) -> tuple[str, str]:
    """Number and unit of what was typed; the unit is empty where it is none of these."""
    # From the end: a number may hold spaces (1 900) and so may a unit (US gpm).
    for unit in sorted(units, key=len, reverse=True):
        if typed.endswith(f" {unit}"):
            return typed.removesuffix(f" {unit}"), unit
    return typed, ""


class QuantityWidget(forms.MultiWidget):
    """A number beside its unit. The label is the number's; of the two the unit says what it is."""

    template_name = "parts/quantity_widget.html"
    use_fieldset = False  # a legend would leave the number without a name of its own

    def __init__(self, units: Mapping[str, float], attrs: dict | None = None) -> None:
        self.units = tuple(units)
        number = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        unit = forms.Select(choices=[(u, u) for u in units], attrs={"aria-label": "unit"})
        super().__init__({"": number, "unit": unit}, attrs)

    def id_for_label(self, id_: str) -> str:
        return f"{id_}_0" if id_ else ""

    def decompress(self, value: Any) -> list[str]:
        typed = value.typed if isinstance(value, Quantity) else str(value or "")
        return list(apart(typed, self.units)) if typed else ["", own_first(self.units)]


class QuantityField(forms.MultiValueField):
    """Cleans to a `Quantity`, or None when it may be empty and is."""

    def __init__(self, *, units: Mapping[str, float], **kwargs: Any) -> None:
        self.units = units
        super().__init__(
            fields=(forms.CharField(max_length=20), forms.CharField(max_length=10)),
            widget=QuantityWidget(units),
            require_all_fields=False,
            **kwargs,
        )

    def clean(self, value: Any) -> Quantity | None:
        number, unit = (value or ["", ""])[:2]
        if not (number or "").strip():
            if self.required:
                raise forms.ValidationError(self.error_messages["required"], code="required")
            return None
        try:
            return quantity(number, unit, self.units)
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal
