"""The entries for outlets read by pitot: a line each, as many as are wanted."""

from collections.abc import Mapping
from typing import Any

from django import forms

from calc.hydraulics import PROJECTING, SMOOTH, SQUARE, TUBE
from calc.units import LENGTH, PRESSURE
from itm.core.errors import Refused
from itm.core.quantities import apart
from itm.records.outlets import MOST, PARTS, listed, parts

UNITS: dict[str, Mapping[str, float]] = {"diameter": LENGTH, "pressure": PRESSURE}
SPARE, FEWEST = 2, 3  # empty lines beyond the filled ones; lines at least
COEFFICIENTS = f"""{SMOOTH:.2f} smooth and rounded, {SQUARE:.2f} square and sharp, {PROJECTING:.2f}
projecting into the barrel, {TUBE:.2f} flow tube (NFPA 291); the maker's own where it gives one."""


class OutletsWidget(forms.Widget):
    template_name = "visits/outlets.html"
    use_fieldset = True

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        texts = value.splitlines() if isinstance(value, str) else list(value or [])
        while texts and not any(parts(texts[-1])):
            texts.pop()
        count = min(max(FEWEST, len(texts) + SPARE), MOST)
        lines = texts + [""] * (count - len(texts))
        context["rows"] = [self._line(name, place, text) for place, text in enumerate(lines)]
        context["filled"] = bool(texts)
        return context

    def _line(self, name: str, place: int, text: str) -> dict[str, Any]:
        line: dict[str, Any] = {"number": place + 1}
        for part, typed in zip(PARTS, parts(text), strict=False):
            units = UNITS.get(part, ())
            number, unit = apart(typed, units)
            line[part] = {
                "name": f"{name}-{place}-{part}",
                "number": number,
                "units": [(one, one == unit) for one in units],
            }
        return line

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[str]:
        if name in data:  # a door hands over the texts themselves
            return list(data[name])
        return [self._text(data, f"{name}-{place}") for place in range(MOST)]

    def _text(self, data: Any, line: str) -> str:
        typed = []
        for part in PARTS:
            number = str(data.get(f"{line}-{part}", "")).replace(";", " ").strip()[:20]
            unit = str(data.get(f"{line}-{part}-unit", ""))
            typed.append(f"{number} {unit}".strip() if number else "")
        return "; ".join(typed)

    def value_omitted_from_data(self, data: Any, files: Any, name: str) -> bool:
        return name not in data and f"{name}-0-diameter" not in data


class OutletsField(forms.Field):
    """Cleans to the texts as `records.outlets.listed` keeps them."""

    widget = OutletsWidget

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, help_text=COEFFICIENTS, **kwargs)

    def clean(self, value: Any) -> list[str]:
        try:
            return listed(value or [])
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal
