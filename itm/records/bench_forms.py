"""Small forms of the bench."""

from django import forms

from itm.core.fields import NumberField
from itm.core.forms import Refusing
from itm.core.measures import TEMPERATURE
from itm.core.quantities import QuantityField
from itm.records.direct_forms import DENSITY
from itm.records.forms import MergingForm, TestForm
from itm.records.models import Bench
from itm.records.models.density import DensityFrom

USUAL_REASONS = (
    "bubble or foam on the prism",
    "prism not washed after the concentrate",
    "display had not settled",
    "wrong bottle",
    "typed wrongly; read again beside it",
)


class BenchForm(MergingForm):
    """What of a bench is not its instrument and its lot. No reading shows most of it, so it is
    asked."""

    water_source = TestForm.base_fields["water_source"]
    system_water_source = forms.CharField(
        max_length=120, required=False, label="Source of the water in the discharge",
        help_text="Pond, fire tank, mains … Where it is another than that of the standards, read "
        "both waters.",
    )  # fmt: skip
    compensation = forms.ChoiceField(
        choices=Bench.Compensation.choices, required=False, label="Temperature compensation",
        help_text="How the instrument was really set. With two settings the readings have no line "
        "in common: set it once, and read every bottle again.",
    )  # fmt: skip
    bottles_were = forms.ChoiceField(
        choices=Bench.Bottles.choices, required=False, label="Before they were filled, bottles were"
    )
    samples_kept = forms.ChoiceField(
        choices=Bench.Kept.choices, required=False, label="Samples were kept"
    )
    standards_by = forms.ChoiceField(
        choices=Bench.StandardsBy.choices, required=False, label="Standards are",
        help_text="A thick concentrate stays in a pipette: weigh it. Grams need its density.",
    )  # fmt: skip
    density = QuantityField(
        units=DENSITY, required=False, label="Density of the concentrate",
        help_text="Where standards are weighed. The water is taken as fresh; of sea or brackish "
        "water write volumes.",
    )  # fmt: skip
    density_at = QuantityField(
        units=TEMPERATURE, required=False, label="Temperature of that density",
        help_text="That of a certificate is of 20 °C. Best is that of the bench.",
    )  # fmt: skip
    density_error = QuantityField(
        units=DENSITY, required=False, label="The density may be off by",
        help_text="Either way. Where nobody says, 1 % of it is taken (common practice).",
    )  # fmt: skip
    density_from = forms.ChoiceField(
        choices=DensityFrom.choices, required=False, label="The density comes from"
    )
    glassware = TestForm.base_fields["glassware"]
    notes = forms.CharField(
        max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )


class StandardForm(forms.Form):
    """One more standard."""

    target_percent = NumberField(
        unit="%",
        label="Percent wanted",
        help_text="Above 0, at most 100; percent by volume of the whole mixture.",
    )


class LabelledStandardForm(StandardForm):
    """As a device adds it: the glass has its label already."""

    label = forms.CharField(max_length=40, required=False, label="Label on the bottle")


class ReasonForm(Refusing, forms.Form):
    """Why something leaves the fit or the bench."""

    reason = forms.CharField(
        max_length=200,
        label="Reason",
        widget=forms.TextInput(attrs={"list": "usual-reasons", "autocomplete": "off"}),
        error_messages={"required": "Say why; without a reason it stays in."},
    )
