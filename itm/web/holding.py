"""The book of a tank as pages show it: what it holds, and line by line how that came about."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from itm.core.conversions import like, quantity
from itm.core.fields import DayField
from itm.core.figures import day
from itm.registry.contents import (
    Contents,
    Line,
    amount,
    bare,
    ledger,
    pfas_words,
    rinse_words,
)
from itm.registry.queries import Tank
from itm.registry.queries_stores import Store, held

LITRES = "0 L"  # one unit for all stores, so that they can be added up
NOT_NOTED = "nothing noted"


class OnForm(forms.Form):
    """Of which day the contents are shown; today unless another one is asked for."""

    on = DayField(label="At the end of", required=False)


def day_asked(data: Any, today: date) -> tuple[OnForm, date]:
    """Nothing is known of a day to come."""
    form = OnForm(data if data.get("on") else None, initial={"on": today})
    asked = form.cleaned_data["on"] if form.is_valid() else None
    if asked and asked > today:
        form.add_error("on", "This day has not come yet.")
        asked = None
    return form, asked or today


def now_in(tank: Tank) -> Contents:
    """Of a tank that came with its book."""
    lines = ledger(tank, tank.movements.all())
    return lines[-1].holds if lines else Contents()


def brief(tank: Tank, held: Contents) -> str:
    """For a list: how much of what."""
    if not held.volumes:
        return "empty" if held.noted else NOT_NOTED
    lots = held.parts
    what = str(lots[0].lot) if len(lots) == 1 else f"{len(lots)} lots: {', '.join(held.products)}"
    doubt = " (the book does not add up)" if held.problems else ""
    return f"{amount(held.volume, like(tank.capacity_typed))} of {what}{doubt}"


def there(store: Store) -> str:
    """What is left in a store that came with its book."""
    return amount(held(store), like(LITRES))


def shown(tank: Tank, held: Contents) -> dict[str, Any]:
    """Everything the page says of the contents of a day."""
    parts = held.parts
    return {
        "noted": held.noted,
        "volume": amount(held.volume, like(tank.capacity_typed)) if held.noted else "",
        "parts": [
            {
                "lot": part.lot,
                "volume": amount(part.volume, like(tank.capacity_typed)),
                "share": f"{100 * part.share:.1f}",
            }
            for part in parts
        ],
        "facts": _facts(held) if parts else [],
        "pfas": pfas_words(held),
        "warnings": warnings(held),
    }


def _facts(held: Contents) -> list[tuple[str, str]]:
    index, density, ph = held.refractive_index, held.density, held.ph
    missing = "not worked out: the certificate of a lot does not give it"
    ph_words = (
        "not worked out: pH does not mix by volume" if len(held.volumes) > 1 else "not entered"
    )
    return [
        ("Type", held.kind or "several types, not one"),
        (
            "Nominal",
            "several nominal percents, not one"
            if held.nominal_percent is None
            else f"{bare(held.nominal_percent)} %",
        ),
        ("Refractive index", missing if index is None else f"{index:.5f} nD at 20 °C"),
        ("Density", missing if density is None else f"{density:.1f} kg/m³ at 20 °C"),
        ("pH", ph_words if ph is None else f"{ph:g}"),
    ]


def warnings(held: Contents) -> list[str]:
    out = list(held.remarks)
    if len(held.products) > 1 and not held.mixings:
        out.append(
            f"Several products stand in it: {', '.join(held.products)}. Only their makers can say "
            "whether these may be mixed; thickening or separation can come weeks later."
        )
    return out


def book(tank: Tank, lines: Sequence[Line]) -> list[dict[str, Any]]:
    """The newest first."""
    return [_row(tank, line) for line in reversed(lines)]


def _row(tank: Tank, line: Line) -> dict[str, Any]:
    movement = line.movement
    taken = quantity(movement.volume_typed)
    if movement.kind == "drain":
        booked = amount(line.held.volume, like(tank.capacity_typed))
        taken = f"{booked} by the book" + (f", {taken} measured" if taken else "")
    notes = [movement.reason, movement.cleaned and f"cleaned: {movement.cleaned}"]
    notes.append(rinse_words(movement))
    if movement.residue_mg_l is not None:
        notes.append(f"{bare(movement.residue_mg_l)} mg/L of PFAS found after it")
    if movement.allowed_by:
        notes.append(f"mixed by leave of {movement.allowed_by}: {movement.allowed_because}")
    return {
        "movement": movement,
        "day": day(movement.moved_on),
        "what": movement.get_kind_display(),
        "sign": "+" if movement.goes_in else "−",
        "volume": taken,
        "holds": amount(line.holds.volume, like(tank.capacity_typed)),
        "note": "; ".join(filter(None, notes)),
        "problems": [problem.sentence for problem in line.problems],
    }
