"""What the bench page shows, from the sheet and from what was typed and not yet saved."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from calc.standards import MassRecipe, Recipe
from itm.core.conversions import quantity
from itm.intake.fields import TEMPERATURE, reading_field
from itm.intake.take import Entry, doubts
from itm.intake.volumes import volume_doubt
from itm.records.bench_sheet import Sheet, Stand
from itm.records.pouring import LIQUIDS
from itm.records.weighing import MASSES, UNIT, mass_percent, pair_of, recipe_in_grams
from itm.web.photographs import Addresses

MOST_ENTRIES = 3
LAST = (
    "Water once more shows whether meter or temperature moved while you read. The concentrate "
    "comes last: wash the prism or cell twice after it."
)


@dataclass(frozen=True)
class Cell:
    """One place for a new reading."""

    key: uuid.UUID
    value: str = ""
    temperature: str = ""
    wrong: str = ""
    wrong_temperature: str = ""


@dataclass(frozen=True)
class Shown:
    """One reading as it was typed."""

    key: uuid.UUID
    value: str
    temperature: str
    number: int
    by: str
    aside: str
    question: str
    photos: list[tuple[str, str]]


@dataclass(frozen=True)
class Line:
    """One bottle of the reading table."""

    key: uuid.UUID
    label: str
    what: str
    percent: str
    readings: list[Shown]
    cells: list[Cell]


@dataclass(frozen=True)
class Group:
    title: str
    note: str
    lines: list[Line]


@dataclass(frozen=True)
class Pour:
    """One standard of the recipe table."""

    key: uuid.UUID
    label: str
    target: str
    unit: str
    how: str  # poured or weighed
    recipe: tuple[str, str] | None  # concentrate and water; None while the density is not known
    amounts: list["Amount"]
    percent: str
    by_mass: str  # percent by mass of what was weighed and has no density yet
    read: bool
    question: str = ""


@dataclass(frozen=True)
class Amount:
    """One of the two amounts of a standard."""

    name: str
    what: str
    typed: str
    was: str
    wrong: str


def entries_in(data: QueryDict, sheet: Sheet) -> list[Entry]:
    """The cells of a posted table, in its order; a foreign bottle is not found."""
    out = []
    for name in data:
        if not name.startswith("bottle-"):
            continue
        cell = name.removeprefix("bottle-")
        try:
            key, bottle = uuid.UUID(cell), uuid.UUID(data.get(name, ""))
        except ValueError:
            continue
        value, temperature = (data.get(f"{what}-{cell}", "") for what in ("value", "temperature"))
        out.append(Entry(key, sheet.stand(bottle).bottle, value[:40], temperature[:40]))
    return out


def groups(
    sheet: Sheet, kept: Sequence[Entry], wrong: Mapping[str, str], entries: int,
    photos: Addresses,
) -> list[Group]:  # fmt: skip
    """The reading table. `kept` are entries that were typed and not saved."""
    asked = (
        {} if sheet.closed else doubts(sheet.stands, sheet.bench)
    )  # while somebody can still read it again
    waiting: dict[uuid.UUID, list[Entry]] = {}
    for entry in kept:
        waiting.setdefault(entry.bottle.key, []).append(entry)

    def line(stand: Stand, *, closed: str = sheet.shared_closed) -> Line:
        cells = [
            Cell(e.key, e.value_typed, e.temperature_typed, wrong.get(e.place, ""),
                 wrong.get(e.temperature_place, ""))
            for e in waiting.get(stand.bottle.key, [])
        ]  # fmt: skip
        if not closed:
            cells += [Cell(uuid.uuid4()) for _ in range(max(0, entries - len(cells)))]
        return Line(
            key=stand.bottle.key,
            label=stand.bottle.label,
            what=_what(stand),
            percent="" if stand.bottle.role == "concentrate" else percent_text(stand.percent),
            readings=[_shown(r, asked, photos.get(r.key, [])) for r in stand.readings],
            cells=cells,
        )

    shared = [line(s) for s in [*sheet.water, *sheet.standards]]
    out = [Group("Water and standards", "", shared)] if shared else []
    for run, stands in sheet.samples:
        note = "" if stands else "No sample was stamped at this flow point yet."
        title = f"Samples, {run.flow_point.name} ({quantity(run.flow_point.flow_typed)})"
        out.append(Group(title, note, [line(s, closed=sheet.closed) for s in stands]))
    last = [line(s) for s in [*sheet.waters_beside, *sheet.concentrate]]
    if last:
        out.append(Group("At the end", "" if sheet.shared_closed else LAST, last))
    return out


def _what(stand: Stand) -> str:
    if stand.bottle.target_percent is not None:
        return f"standard for {stand.bottle.target_percent.normalize():f} %"
    return stand.bottle.get_role_display()


def _shown(reading: Any, asked: Mapping[str, str], photos: list[tuple[str, str]]) -> Shown:
    return Shown(
        key=reading.key,
        value=reading.value_typed,
        temperature=reading.temperature_typed,
        number=reading.sequence,
        by=reading.read_by,
        aside=reading.set_aside_reason,
        question=asked.get(str(reading.key), ""),
        photos=photos,
    )


def pours(sheet: Sheet, typed: Mapping[str, str], wrong: Mapping[str, str]) -> list[Pour]:
    """The recipe table; `typed` and `wrong` are by the name of the entry."""
    return [_pour(sheet, stand, typed, wrong) for stand in sheet.standards]


def _pour(sheet: Sheet, stand: Stand, typed: Mapping[str, str], wrong: Mapping[str, str]) -> Pour:
    bottle, key = stand.bottle, stand.bottle.key
    pair = pair_of(bottle, sheet.bench)
    recipe: Recipe | MassRecipe | None = stand.recipe
    if pair == MASSES and bottle.target_percent:
        recipe = recipe_in_grams(sheet.bench, bottle.target_percent)
    by_mass = mass_percent(bottle) if stand.percent is None else None
    amounts = []
    for name, what in zip(pair, LIQUIDS, strict=True):
        was, entry = getattr(bottle, f"{name}_typed"), f"{name}-{key}"
        amounts.append(Amount(entry, what, typed.get(entry, was), was, wrong.get(entry, "")))
    return Pour(
        key=key,
        label=bottle.label,
        target=f"{bottle.target_percent.normalize():f}" if bottle.target_percent else "",
        unit=UNIT[pair],
        how="weighed" if pair == MASSES else "poured",
        recipe=(shown_amount(recipe.concentrate), shown_amount(recipe.water)) if recipe else None,
        amounts=amounts,
        percent=percent_text(stand.percent),
        by_mass=percent_text(by_mass),
        read=bool(stand.readings),
        question="" if sheet.shared_closed else volume_doubt(stand, sheet.bench.batch_volume_ml),
    )


def percent_text(percent: float | None) -> str:
    return "" if percent is None else f"{percent:.2f}"


def shown_amount(amount: float) -> str:
    """mL or g: no glass and no bench scale tells a thousandth from nothing."""
    return f"{round(amount, 3):g}"


def limits_of_entry(sheet: Sheet) -> dict[str, str]:
    """What the heads of the entry columns say, from the one table of fields."""
    reading = reading_field(sheet.bench.instrument)
    return {
        "reading": f"{reading.name}, {reading.unit}" if reading.unit else f"{reading.name}, nD",
        "range": reading.range,
        "temperature": TEMPERATURE.range.replace("-", "−"),
    }
