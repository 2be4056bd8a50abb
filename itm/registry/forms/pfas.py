"""Whose law on PFAS holds at a site, and what the text says of one date."""

from typing import Any

from django import forms

from itm.core.forms import Refusing
from itm.registry import pfas_dates
from itm.registry.models import PfasDateCheck


class PfasPlacesForm(Refusing, forms.Form):
    chosen = forms.MultipleChoiceField(
        label="Where the site is", widget=forms.CheckboxSelectMultiple, required=False,
        help_text="A state comes beside its country. A place that is not listed has dates of its "
        "own: ask there.",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["chosen"].choices = list(pfas_dates.places().items())  # type: ignore[attr-defined]


class PfasDateCheckForm(Refusing, forms.Form):
    found = forms.ChoiceField(label="What the text says", choices=PfasDateCheck.Found.choices)
    checked_against = forms.CharField(
        label="Text that was read", max_length=200,
        help_text="With its version or the day on which you read it.",
    )  # fmt: skip
    remark = forms.CharField(
        max_length=300, required=False, help_text="An exception, another day, the article."
    )
