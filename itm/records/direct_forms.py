"""Forms of a direct test: with what it is measured, and what was read at one flow point."""

from typing import Any

from django import forms

from calc import units
from calc.direct_form import DRAW_DOWN, DRAWN, OTHER_LIQUID, WEIGHED
from itm.accounts.actor import Actor
from itm.core.durations import DurationField
from itm.core.fields import DayField
from itm.core.measures import LENGTH
from itm.core.quantities import QuantityField
from itm.records import queries
from itm.records.forms import MergingForm
from itm.records.models import DirectRun, DirectSetup
from itm.records.models.density import DensityFrom
from itm.registry.properties import PROPERTIES

# Printed beside the fields: the commonest slip is percent of the water.
DEFINITION = (
    "Percent is the volume of concentrate in 100 volumes of solution, which is water and "
    "concentrate together; it is not percent of the water."
)
PERCENT = {"%": 1.0}
# In whatever units a certificate gives it; floats, as every quantity of a direct test.
DENSITY = {unit: float(factor) for unit, factor in PROPERTIES["density"].units.items()}
OF_VESSEL = ("shape", "heads", "diameter", "length", "width", "height", "level_step")
OF_FIRST = ("concentrate_meter", "concentrate_fitted", "concentrate_accuracy", "meter_in")
OF_SCALE = (
    "scale", "scale_step", "scale_error", "density", "density_error", "density_from",
)  # fmt: skip
OF_LEVELS = ("level_before", "level_after")
OF_WEIGHTS = ("mass_before", "mass_after")
OF_CONCENTRATE = (
    "concentrate_source", "concentrate_read", "concentrate_flow", "concentrate_start",
    "concentrate_end",
)  # fmt: skip
OF_BASELINE = ("beside_on", "beside_source", "beside_liquid_flow", "beside_second_flow")


OF_SECOND = ("second_meter", "second_fitted", "second_accuracy")
OF_SECOND_READ = ("second_read", "second_source", "second_flow", "second_start", "second_end")


def of_method(method: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the fields that a method asks for: once for the test, and at each flow point."""
    if method == DRAW_DOWN:
        return (*OF_SECOND, *OF_VESSEL), (*OF_LEVELS, "duration", *OF_SECOND_READ)
    if method == WEIGHED:
        return (*OF_SECOND, *OF_SCALE), (*OF_WEIGHTS, "duration", *OF_SECOND_READ)
    beside = OF_BASELINE if method == OTHER_LIQUID else ()
    of_run = ("duration", *OF_CONCENTRATE, *OF_SECOND_READ, *beside)
    return (*OF_FIRST, *OF_SECOND), of_run


def _choice(choices: Any, **kwargs: Any) -> forms.ChoiceField:
    return forms.ChoiceField(choices=[("", "Not said yet"), *choices], required=False, **kwargs)


def _accuracy(label: str, help_text: str) -> QuantityField:
    return QuantityField(units=PERCENT, label=label, help_text=help_text, required=False)


class SetupForm(MergingForm):
    """Once for all flow points; only what the method needs stands on it."""

    concentrate_meter = forms.ModelChoiceField(
        queryset=queries.Instrument.objects.none(), to_field_name="key", required=False,
        label="Meter in the concentrate line", empty_label="None of your instruments",
        help_text="It has to suit the liquid: thick, conducting or not.",
    )  # fmt: skip
    concentrate_fitted = forms.CharField(
        label="Or a meter that is fitted there", max_length=120, required=False,
        help_text="Its tag, and the number of its certificate.",
    )  # fmt: skip
    concentrate_accuracy = _accuracy(
        "It may be off by", "Of its reading, either way, as its certificate or data sheet states."
    )
    meter_in = _choice(
        DirectSetup.MeterIn.choices, label="Where the second meter sits",
        help_text="A meter in the water does not see the concentrate; it is added before the "
        "percent is worked out.",
    )  # fmt: skip
    second_meter = forms.ModelChoiceField(
        queryset=queries.Instrument.objects.none(), to_field_name="key", required=False,
        label="The second meter", empty_label="None of your instruments",
    )  # fmt: skip
    second_fitted = forms.CharField(
        label="Or a second meter that is fitted there", max_length=120, required=False,
        help_text="Leave both empty where the flow is read by pitot.",
    )  # fmt: skip
    second_accuracy = _accuracy(
        "The second flow may be off by",
        "Of its reading, either way. By pitot half of what the pressure may be off.",
    )
    shape = _choice(DirectSetup.Shape.choices, label="Shape of the vessel")
    heads = _choice(
        DirectSetup.Heads.choices, label="Heads of a cylinder", help_text="Both of one kind."
    )
    diameter = QuantityField(units=LENGTH, required=False, help_text="Inside; cylinder or sphere.")
    length = QuantityField(
        units=LENGTH, required=False, help_text="Inside; of a cylinder without its heads."
    )
    width = QuantityField(units=LENGTH, required=False, help_text="Inside, of a box.")
    height = QuantityField(units=LENGTH, required=False, help_text="Inside, of a box.")
    level_step = QuantityField(
        units=LENGTH, required=False, label="One step of the level scale",
        help_text="The least difference of level that can be read. The level must sink by ten of "
        "them (common practice).",
    )  # fmt: skip
    scale = forms.CharField(
        label="Scale under the tank or drum", max_length=120, required=False,
        help_text="Its tag, and the number of its certificate.",
    )  # fmt: skip
    scale_step = QuantityField(
        units=units.MASS, required=False, label="One step of the scale",
        help_text="The weight must go down by ten of them (common practice).",
    )  # fmt: skip
    scale_error = QuantityField(
        units=units.MASS, required=False, label="The scale may be off by",
        help_text="Either way, at the weight that stands on it, as its certificate states.",
    )  # fmt: skip
    density = QuantityField(
        units=DENSITY, required=False, label="Density of the concentrate",
        help_text="At the temperature that it has in the tank or drum.",
    )  # fmt: skip
    density_error = QuantityField(
        units=DENSITY, required=False, label="The density may be off by",
        help_text="Either way. That of a certificate is of 20 °C: let this cover what a warmer or "
        "colder tank makes of it.",
    )  # fmt: skip
    density_from = _choice(
        [one for one in DensityFrom.choices if one[0]], label="The density comes from",
        help_text="A tank that took in water, or holds several lots, is lighter or heavier than "
        "the certificate of one lot says.",
    )  # fmt: skip

    def __init__(self, *args: Any, actor: Actor, row: DirectSetup, **kwargs: Any) -> None:
        meters = ("concentrate_meter", "second_meter")
        own = {name: getattr(row, name) for name in meters}
        kept = {name: meter.key for name, meter in own.items() if meter is not None}
        super().__init__(*args, row=row, initial=kept, **kwargs)
        fields: dict[str, Any] = self.fields
        for name in meters:
            fields[name].queryset = queries.flow_meters(actor)
        method = row.test.method
        for name in set(fields) - set(of_method(method)[0]):
            del fields[name]
        if method in DRAWN:
            fields["second_meter"].label = "Meter of the solution flow"
            fields["second_fitted"].label = "Or a meter that is fitted there"
            fields["second_accuracy"].label = "The solution flow may be off by"
        if method == OTHER_LIQUID:
            fields["concentrate_meter"].label = "Meter in the line of the other liquid"


class MeasuredForm(MergingForm):
    """What was read at one flow point, in the order in which it is read."""

    level_before = QuantityField(
        units=LENGTH, required=False, label="Level before",
        help_text="From the lowest point inside the vessel.",
    )  # fmt: skip
    level_after = QuantityField(units=LENGTH, required=False, label="Level after")
    mass_before = QuantityField(
        units=units.MASS, required=False, label="Weight before",
        help_text="With whatever stands on the scale; only the difference counts.",
    )  # fmt: skip
    mass_after = QuantityField(units=units.MASS, required=False, label="Weight after")
    duration = DurationField(
        required=False, label="Time between",
        help_text="Minutes and seconds as 2:30, or seconds as 150 s; between two levels, two "
        "weights or two readings of a totaliser.",
    )  # fmt: skip
    concentrate_source = _choice(
        DirectRun.Source.choices, label="Flow in the concentrate line from",
        help_text="A nameplate is no evidence: with it nothing can be handed in.",
    )  # fmt: skip
    concentrate_read = _choice(DirectRun.Read.choices, label="What was read in that line")
    concentrate_flow = QuantityField(
        units=units.FLOW, required=False, label="Flow in that line", help_text="Read as a flow."
    )
    concentrate_start = QuantityField(
        units=units.VOLUME, required=False, label="Its totaliser before"
    )
    concentrate_end = QuantityField(units=units.VOLUME, required=False, label="Its totaliser after")
    second_read = forms.ChoiceField(
        choices=DirectRun.SecondRead.choices, required=False, label="The second flow was"
    )
    second_source = _choice(DirectRun.Source.choices, label="Second flow from")
    second_flow = QuantityField(
        units=units.FLOW, required=False, label="Second flow", help_text="Read as a flow."
    )
    second_start = QuantityField(
        units=units.VOLUME, required=False, label="Second totaliser before"
    )
    second_end = QuantityField(units=units.VOLUME, required=False, label="Second totaliser after")
    beside_on = DayField(
        label="This liquid was read beside the foam on", required=False,
        help_text="The day of the baseline, when both were run at this flow.",
    )  # fmt: skip
    beside_source = forms.CharField(
        label="Where that is written", max_length=160, required=False,
        help_text="Report and page, or field sheet.",
    )  # fmt: skip
    beside_liquid_flow = QuantityField(
        units=units.FLOW, required=False, label="Flow of this liquid then"
    )
    beside_second_flow = QuantityField(units=units.FLOW, required=False, label="Second flow then")

    def __init__(self, *args: Any, row: DirectRun, method: str, **kwargs: Any) -> None:
        super().__init__(*args, row=row, **kwargs)
        for name in set(self.fields) - set(of_method(method)[1]):
            del self.fields[name]
        if method in DRAWN:
            for name, label in SOLUTION.items():
                self.fields[name].label = label

    def clean_second_read(self) -> str:
        """Left unsaid it is what was noted at the discharge."""
        return self.cleaned_data["second_read"] or DirectRun.SecondRead.DISCHARGE


SOLUTION = {
    "second_read": "The solution flow was",
    "second_source": "Solution flow from",
    "second_flow": "Solution flow",
    "second_start": "Totaliser of the solution before",
    "second_end": "Totaliser of the solution after",
}
