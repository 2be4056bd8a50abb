"""Forms of a concentrate check: what it is held against, its bottles, the laboratory's paper."""

from datetime import datetime
from typing import Any

from django import forms

from itm.core.fields import DayField, NumberField
from itm.records.checking import U_DENSITY, U_INDEX
from itm.records.forms import InstantField, MergingForm
from itm.records.frozen_check import programmes
from itm.records.merge import shown
from itm.records.models import ConcentrateCheck, ConcentrateSample
from itm.registry.files import LARGEST, SUFFIXES, too_large
from itm.registry.forms import Refusing

PURPOSE = forms.ChoiceField(label="Occasion", choices=ConcentrateCheck.Purpose.choices)
CIRCULATED = forms.BooleanField(
    required=False, label="The tank was circulated before the bottles were filled",
    help_text="Circulated, the bottles tell of the mixture; not circulated, of layers.",
)  # fmt: skip
NOTES = forms.CharField(
    max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}),
    help_text="Tank temperature, frozen or overheated since the last check, what was drawn off.",
)  # fmt: skip


class ChosenProgrammes(forms.MultipleChoiceField):
    def __init__(self) -> None:
        super().__init__(
            label="Limits beside those of the certificate",
            choices=programmes,
            required=False,
            widget=forms.CheckboxSelectMultiple,
            help_text="The certificate of the lot is always among them; the adopted edition and "
            "the maker decide. Fixed from the first value on.",
        )


def uncertainty(label: str, unit: str, usual: object) -> NumberField:
    return NumberField(
        label=label, unit=unit,
        help_text=f"Of a reading beside the certificate, by the instrument and the certificate. "
        f"{usual} where nothing better is known, our own choice.",
    )  # fmt: skip


class CheckForm(Refusing, forms.Form):
    """A new check. Everything that it will be held against is fixed from it."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    checked_on = DayField(label="Day of the bottles")
    purpose = PURPOSE
    circulated = CIRCULATED
    programmes = ChosenProgrammes()
    u_refractive_index = uncertainty("Standard uncertainty of index", "", U_INDEX)
    u_density = uncertainty("Standard uncertainty of density", "kg/m³", U_DENSITY)
    notes = NOTES


class CheckEditForm(MergingForm):
    """What it is held against changes only before the first value."""

    purpose = PURPOSE
    circulated = CIRCULATED
    notes = NOTES

    def __init__(self, *args: Any, row: ConcentrateCheck, fixed: bool, **kwargs: Any) -> None:
        super().__init__(
            *args, row=row,
            initial={"purpose": row.purpose, "circulated": row.circulated, "notes": row.notes},
            **kwargs,
        )  # fmt: skip
        if fixed:
            return
        more = CheckForm.base_fields
        for name in ("checked_on", "programmes", "u_refractive_index", "u_density"):
            self.fields[name] = more[name]
            self.stands[name] = shown(row, name)
        self.initial.update(
            checked_on=row.checked_on, programmes=row.programmes,
            u_refractive_index=row.u_refractive_index, u_density=row.u_density,
        )  # fmt: skip
        self.order_fields(["checked_on", "purpose", "circulated", "programmes"])


LABEL = forms.CharField(
    max_length=40, label="Label",
    help_text="As it stands on the bottle; the laboratory tells bottles by nothing else.",
)  # fmt: skip
POINT = forms.ChoiceField(label="Point of the tank", choices=ConcentrateSample.Point.choices)
LOOK = forms.CharField(
    max_length=200, required=False, label="Look and smell",
    help_text="Colour, layers, skin, strings, sediment.",
)  # fmt: skip


class SampleForm(Refusing, forms.Form):
    """One bottle as it was filled."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    point = POINT
    label = LABEL
    look = LOOK

    def __init__(self, *args: Any, zone: str, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["taken_at"] = InstantField(zone=zone, now=now, label="Taken")
        self.order_fields(["key", "point", "label", "taken_at", "look"])


class SampleEditForm(MergingForm):
    """The bottle, and its way to the laboratory and back."""

    label = LABEL
    point = POINT
    look = LOOK
    laboratory = forms.CharField(max_length=120, required=False)
    sent_on = DayField(
        label="Sent on", required=False,
        help_text="Sending it completes nothing: the result does.",
    )  # fmt: skip
    consignment = forms.CharField(max_length=60, required=False, label="Number of the dispatch")
    received_on = DayField(label="Arrived there on", required=False)

    def __init__(self, *args: Any, row: ConcentrateSample, now: datetime, **kwargs: Any) -> None:
        dates = {name: getattr(row, name) for name in ("taken_at", "sent_on", "received_on")}
        super().__init__(*args, row=row, initial=dates, **kwargs)
        zone = row.concentrate_check.site.time_zone
        self.fields["taken_at"] = InstantField(zone=zone, now=now, label="Taken")
        self.stands["taken_at"] = shown(row, "taken_at")
        self.order_fields(["point", "label", "taken_at", "look"])


class LaboratoryForm(Refusing, forms.Form):
    """The paper of a laboratory. The file comes last: nothing that follows too large a one is
    lost."""

    laboratory = forms.CharField(max_length=120)
    number = forms.CharField(max_length=60, label="Number of the report")
    reported_on = DayField(label="Day of the report")
    samples = forms.ModelMultipleChoiceField(
        queryset=ConcentrateSample.objects.none(), to_field_name="key",
        label="Bottles that it is about", widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose the bottles that this report is about."},
    )  # fmt: skip
    chosen = forms.FileField(
        label="The report",
        help_text=f"A PDF, or a JPEG, PNG or WebP picture, up to {LARGEST // 1_000_000} MB.",
        widget=forms.FileInput(attrs={"accept": ",".join(SUFFIXES)}),
        allow_empty_file=True,
        max_length=1000,
        error_messages={"required": "Choose the file of the report."},
    )

    def __init__(
        self, data: Any, files: Any, *, check: ConcentrateCheck, refused: list[str], **kwargs: Any
    ) -> None:
        super().__init__(data or None, files or None, **kwargs)
        bottles: Any = self.fields["samples"]
        bottles.queryset = check.samples.in_use().order_by("taken_at", "pk")
        self.refused = refused

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if self.refused:
            self.errors.pop("chosen", None)
            cleaned.pop("chosen", None)
            for name in self.refused:
                self.add_error("chosen", too_large(name))
        return cleaned


class WhyForm(Refusing, forms.Form):
    """Why something stays and counts no more."""

    reason = forms.CharField(
        max_length=200, label="Why",
        help_text="It stays to be read, with this beside it, and counts for nothing.",
    )  # fmt: skip


class MeasuredForm(Refusing, forms.Form):
    """By what and when values were measured, once for all that are entered together."""

    method = forms.CharField(
        max_length=120, required=False, label="Measured by",
        help_text="Instrument or method, as the paper names it.",
    )  # fmt: skip
    measured_on = DayField(label="Measured on", required=False)
