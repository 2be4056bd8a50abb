"""What a manager says of people and tokens, and what a person chooses for itself."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts

from itm.accounts.models import ApiToken, Membership, User
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


ROLES = (
    "A member works on records; a supervisor also sends back and decides what a member may not; a "
    "manager also says who belongs to the organisation."
)


class InviteForm(Refusing, forms.Form):
    email = forms.EmailField(label="E-mail address", help_text="The invitation goes there.")
    role = forms.ChoiceField(label="Role", choices=Membership.Role.choices, help_text=ROLES)


class WhyForm(Refusing, forms.Form):
    reason = forms.CharField(
        label="Why", max_length=300, help_text="It stays in the history of the organisation."
    )


class RoleForm(WhyForm):
    role = forms.ChoiceField(label="Role", choices=Membership.Role.choices, help_text=ROLES)
    field_order = ("role", "reason")


class PasswordForm(Refusing, forms.Form):
    """A password, typed twice because it is not shown."""

    password = forms.CharField(
        label="Password", strip=False, max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )  # fmt: skip
    again = forms.CharField(
        label="Password once more", strip=False, max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        again = cleaned.pop("again", None)
        if again is not None and again != cleaned.get("password", again):
            self.add_error("again", "It differs from the password above; type both once more.")
        return cleaned


class ResetForm(Refusing, forms.Form):
    email = forms.EmailField(
        label="E-mail address", widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )


class PlainForm(Refusing, forms.Form):
    """A deed without anything to say."""


class CodeForm(Refusing, forms.Form):
    code = forms.CharField(
        label="Code", max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "autocapitalize": "off"}),
    )  # fmt: skip


class AnsweringForm(Refusing, forms.Form):
    """What whoever takes an invitation up has to say; of one to join, nothing."""

    def __init__(self, *args: Any, founds: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if founds:
            self.fields["founds"] = forms.CharField(
                label="Name of your company", max_length=120, initial=founds,
                help_text="As it stands on your reports.",
            )  # fmt: skip
            self.order_fields(["founds"])


class JoinForm(AnsweringForm, PasswordForm):
    """Of somebody new, a name and a password besides."""

    name = forms.CharField(
        label="Your name", max_length=120, help_text="As it stands under what you sign.",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )  # fmt: skip
    field_order = ("name", "password", "again")
