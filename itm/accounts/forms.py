"""What a manager says of a new token, and what a person chooses for itself."""

from datetime import date, timedelta
from typing import Any

from django import forms

from itm.accounts.models import ApiToken, User
from itm.core.fields import DayField
from itm.core.forms import Refusing
from itm.core.measures import Measures

USUAL = timedelta(days=90)


class TokenForm(Refusing, forms.Form):
    name = forms.CharField(
        label="Which program", max_length=80,
        help_text="What uses it and where it runs: so that you know it again when you revoke it.",
    )  # fmt: skip
    scopes = forms.MultipleChoiceField(
        label="What it may do", choices=ApiToken.Scope.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text="Never more than you may do yourself. Tick as little as it needs.",
    )  # fmt: skip
    expires_on = DayField(label="Last day", help_text="In UTC; at most a year from now.")

    def __init__(self, data: Any = None, *, today: date) -> None:
        super().__init__(data, initial={"scopes": ["read"], "expires_on": today + USUAL})


class QualificationForm(Refusing, forms.ModelForm):
    """What a signature is filled in with."""

    licence_expires_on = DayField(
        label="Valid until", required=False,
        help_text="Its last day. A signature for work after it is named among the warnings.",
    )  # fmt: skip

    class Meta:
        model = User
        fields = ("qualification", "licence_number", "licence_expires_on")
        labels = {"licence_number": "Licence or certificate number"}
        help_texts = {"qualification": "As the rules of the place where you work call it."}


class MeasuresForm(Refusing, forms.Form):
    measures = forms.ChoiceField(
        label="Units in which you read", choices=Measures.choices, widget=forms.RadioSelect
    )
