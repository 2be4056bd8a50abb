"""Form fields that say in a sentence what would be right, the same on every page."""

from decimal import Decimal
from typing import Any

from django import forms

from itm.core.clock import FIRST_DAY, LAST_DAY
from itm.core.errors import Refused
from itm.core.quantities import parse_decimal


class DayField(forms.DateField):
    """A calendar day. One way to write it: 11/12 would be two days."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("error_messages", {})
        kwargs["error_messages"].setdefault(
            "invalid", "Write the day as year, month and day, for example 2026-11-30."
        )
        super().__init__(
            input_formats=["%Y-%m-%d"],
            widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            **kwargs,
        )

    def clean(self, value: Any) -> Any:
        """Near the ends of the calendar no zone can be reckoned, and no page shows such a day."""
        on = super().clean(value)
        if on is not None and not FIRST_DAY <= on <= LAST_DAY:
            raise forms.ValidationError(
                f"The year {on.year} is a slip: days here lie between {FIRST_DAY.year} and "
                f"{LAST_DAY.year}.",
                code="out_of_calendar",
            )
        return on


class NumberField(forms.CharField):
    """A plain number with a decimal point or comma; cleans to a Decimal, or None when empty."""

    def __init__(self, *, unit: str = "", **kwargs: Any) -> None:
        self.unit = unit  # parts/field.html shows it beside the entry
        super().__init__(max_length=20, empty_value=None, **kwargs)
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        if text is None:
            return None
        try:
            return parse_decimal(text)
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal

    def prepare_value(self, value: Any) -> Any:
        """3 and not 3.000: the column's zeros were never typed."""
        if isinstance(value, float):
            value = Decimal(repr(value))
        if isinstance(value, Decimal):
            return f"{value.normalize():f}"
        return value


class LinesField(forms.CharField):
    """A list of short lines, one each; empty lines fall out."""

    LONGEST = 200

    def __init__(self, *, rows: int = 8, most: int = 60, **kwargs: Any) -> None:
        self.most = most
        super().__init__(widget=forms.Textarea(attrs={"rows": rows}), **kwargs)

    def clean(self, value: Any) -> list[str]:
        lines = [line.strip() for line in super().clean(value).splitlines() if line.strip()]
        for number, line in enumerate(lines, 1):
            if len(line) > self.LONGEST:
                raise forms.ValidationError(
                    f"Line {number} has {len(line)} characters; {self.LONGEST} are the most.",
                    code="line_too_long",
                )
        if len(lines) > self.most:
            raise forms.ValidationError(
                f"These are {len(lines)} lines; {self.most} are the most.", code="too_many_lines"
            )
        return lines

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(value) if isinstance(value, list) else value
