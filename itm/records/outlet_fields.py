"""The entries for outlets read by pitot: a line each, as many as are wanted."""

import json
from collections.abc import Mapping
from typing import Any

from django import forms

from calc.hydraulics import PROJECTING, SMOOTH, SQUARE, TUBE
from calc.units import LENGTH, PRESSURE
from itm.core.errors import Refused
from itm.core.quantities import apart
from itm.records.outlets import MOST, PARTS, listed

UNITS: dict[str, Mapping[str, float]] = {"diameter": LENGTH, "pressure": PRESSURE}
SPARE, FEWEST = 2, 3  # empty lines beyond the filled ones; lines at least
COEFFICIENTS = f"""{SMOOTH:.2f} smooth and rounded, {SQUARE:.2f} square and sharp, {PROJECTING:.2f}
projecting into the barrel, {TUBE:.2f} flow tube (NFPA 291); the maker's own where it gives one."""


class OutletsWidget(forms.Widget):
    template_name = "visits/outlets.html"
    use_fieldset = True

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        rows = json.loads(value or "[]") if isinstance(value, str) else list(value or [])
        count = min(max(FEWEST, len(rows) + SPARE), MOST)
        rows += [{}] * (count - len(rows))
        context["rows"] = [self._line(name, i, row) for i, row in enumerate(rows)]
        context["name"] = name
        context["filled"] = any(row for row in rows)
        return context

    def _line(self, name: str, place: int, row: Mapping[str, str]) -> dict[str, Any]:
        line: dict[str, Any] = {"number": place + 1}
        for part in PARTS:
            number, unit = apart(row.get(part, ""), UNITS.get(part, ()))
            units = UNITS.get(part, ())
            line[part] = {
                "name": f"{name}-{place}-{part}",
                "number": number,
                "units": [(one, one == unit) for one in units],
            }
        return line

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[dict[str, str]]:
        out = []
        for place in range(MOST):
            row = {}
            for part in PARTS:
                number = str(data.get(f"{name}-{place}-{part}", "")).strip()[:20]
                unit = str(data.get(f"{name}-{place}-{part}-unit", ""))
                row[part] = f"{number} {unit}".strip() if number else ""
            out.append(row if any(row.values()) else {})
        while out and not out[-1]:
            out.pop()
        return out

    def value_omitted_from_data(self, data: Any, files: Any, name: str) -> bool:
        return f"{name}-0-diameter" not in data


class OutletsField(forms.Field):
    """Cleans to the rows as `records.outlets.listed` keeps them."""

    widget = OutletsWidget

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, help_text=COEFFICIENTS, **kwargs)

    def clean(self, value: Any) -> list[dict[str, str]]:
        try:
            return listed(value or [])
        except Refused as refusal:
            raise forms.ValidationError(refusal.sentence, code=refusal.code) from refusal
