"""Tanks, lots and instruments."""

from calc.units import VOLUME
from itm.core.fields import DayField, NumberField
from itm.core.quantities import QuantityField
from itm.registry.forms.base import RegistryForm
from itm.registry.models import Certificate, ConcentrateLot, Instrument, Tank


class TankForm(RegistryForm):
    capacity = QuantityField(units=VOLUME, label="Capacity")
    usable_volume = QuantityField(
        units=VOLUME,
        label="Usable volume",
        help_text="What the suction inlet can reach; minutes of foam are worked out from it.",
    )
    installed_on = DayField(
        label="Installed on",
        required=False,
        help_text="Nothing can have gone into it before that day.",
    )
    earlier_check_on = DayField(
        label="Last concentrate check before this record",
        required=False,
        help_text="From older papers. The next one is counted from this day.",
    )

    class Meta:
        model = Tank
        fields = ("tag", "kind", "capacity", "usable_volume", "installed_on", "earlier_check_on")
        labels = {"kind": "Type of tank"}


class LotForm(RegistryForm):
    nominal_percent = NumberField(
        label="Nominal percent", unit="%", help_text="At which this concentrate is proportioned."
    )
    made_on = DayField(label="Made on", required=False)
    expires_on = DayField(label="Expires on", required=False)
    refractive_index = NumberField(
        required=False, help_text="nD at 20 °C, undiluted, as the certificate gives it."
    )
    density = NumberField(unit="kg/m³", required=False, help_text="At 20 °C.")
    ph = NumberField(label="pH", required=False)

    class Meta:
        model = ConcentrateLot
        fields = (
            "product", "kind", "nominal_percent", "batch", "made_on", "expires_on", "pfas",
            "refractive_index", "density", "ph",
        )  # fmt: skip
        labels = {"kind": "Type of concentrate", "pfas": "PFAS"}


class InstrumentForm(RegistryForm):
    resolution = NumberField(
        help_text="One step of its display, in its own unit: 0.0001 for four decimals of nD, 1 for "
        "a flow meter that shows whole litres a minute. Of a scale with marks: the part of a "
        "division that is read by eye."
    )
    division = NumberField(
        required=False,
        label="Scale with marks: one division",
        help_text="Of an analogue instrument that is read between its marks, in its own unit; the "
        "step is then a half, a fifth or a tenth of it (common practice). Empty for a display.",
    )
    repeatability = NumberField(
        required=False,
        help_text="Standard deviation of one reading as its maker states it, in its own unit.",
    )

    compensates_from_c = NumberField(
        unit="°C",
        required=False,
        label="Corrects from",
        help_text="Lowest temperature of its range, as its manual states it; empty if not known.",
    )
    compensates_to_c = NumberField(unit="°C", required=False, label="Corrects up to")

    class Meta:
        model = Instrument
        fields = (
            "name", "serial_number", "method", "unit", "resolution", "division", "repeatability",
            "temperature_compensated", "compensates_from_c", "compensates_to_c",
        )  # fmt: skip
        labels = {
            "method": "What it reads",
            "temperature_compensated": "Corrects for temperature itself",
        }


class CertificateForm(RegistryForm):
    issued_on = DayField(
        label="Calibrated on",
        required=False,
        help_text="Readings from this day on rest on it. Left empty, it counts until one with a "
        "day follows.",
    )
    due_on = DayField(
        label="Next calibration due on",
        required=False,
        help_text="A reading after this day is taken all the same, and the record says so.",
    )

    class Meta:
        model = Certificate
        fields = ("number", "laboratory", "issued_on", "due_on")
        labels = {"number": "Number of the certificate"}
