"""Forms of the steps in a record's life."""

from django import forms

from itm.core.fields import DayField
from itm.core.forms import Refusing
from itm.records.models import Witness


class StepForm(forms.Form):
    """A step that says why."""

    reason = forms.CharField(
        max_length=500,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say why; the reason stands on the record."},
    )


class SignForm(forms.Form):
    """The signature, as typed; filled in from what the person's own entry says."""

    name = forms.CharField(
        max_length=120,
        label="Name",
        error_messages={"required": "A signature shows the signer's name; write it."},
    )
    qualification = forms.CharField(
        max_length=120,
        label="Qualification",
        help_text="As the rules of this place call it.",
        error_messages={"required": "A signature shows the signer's qualification; write it."},
    )
    number = forms.CharField(
        max_length=60,
        required=False,
        label="Licence or certificate number",
    )
    valid_until = DayField(
        required=False,
        label="Valid until",
        help_text="Its last day. One that ended before the day of the work is named among the "
        "warnings of the record.",
    )


class WitnessForm(Refusing, forms.Form):
    """Who was there, what that person saw, and the signature as typed."""

    present_on = DayField(label="Day on which you were there")
    saw = forms.MultipleChoiceField(
        label="What you were present at", choices=Witness.Saw.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Say what you were present at."},
    )  # fmt: skip
    name = SignForm.base_fields["name"]
    qualification = SignForm.base_fields["qualification"]
    number = SignForm.base_fields["number"]
    remark = forms.CharField(
        max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What you saw otherwise than it stands here. A question is asked on the record.",
    )  # fmt: skip
