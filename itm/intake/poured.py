"""What a table of readings says of its standards: what was poured or weighed, and the density that
makes a volume of grams. It goes to the bottles and the bench as it does from every other door."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import ItmError, Refused
from itm.core.quantities import apart, as_typed
from itm.intake.property_rows import Line
from itm.intake.tables.cell_values import Amount
from itm.intake.tables.cells import CellProblem
from itm.intake.tables.reading import Told
from itm.intake.typed import digits_of
from itm.records import bench as services
from itm.records import merge, pouring
from itm.records.bench_forms import BenchForm
from itm.records.bench_sheet import Stand
from itm.records.models import Bench, Bottle
from itm.records.weighing import MASSES, UNIT, VOLUMES, typed

AMOUNTS = ("concentrate_used", "water_used")
DENSITY = ("density", "density_at", "density_error", "density_from")
Filled = dict[str, dict[str, str]]


@dataclass(frozen=True)
class Made:
    """Both amounts of one standard, and the row that said them first."""

    bottle: Bottle
    pair: tuple[str, str]
    texts: tuple[str, str]
    row: int


class Poured:
    """Collects them row by row. They may stand once or in every row of their bottle, alike."""

    def __init__(self, bench: Bench, columns: Mapping[str, int]) -> None:
        self._bench, self._columns = bench, columns
        self._made: dict[int, Made] = {}
        self._said: dict[str, tuple[str, int]] = {}  # of the bench: text and first row

    def add(self, line: Line, stand: Stand | None) -> None:
        """`stand` is the bottle of the row; none where several have a column each.

        Codes: amounts_across, not_a_standard, missing_amount, mixed_basis, other_amount,
        there_already, other_density.
        """
        given = [name for name in AMOUNTS if line.value(name) is not None]
        if given and stand is None:
            line.tell(given[0], "amounts_across", "This row holds readings of several bottles.",
                      "Give each standard a row of its own.")  # fmt: skip
        elif given and stand is not None:
            self._amounts(line, stand.bottle)
        for name in DENSITY:
            self._of_bench(line, name)

    def _amounts(self, line: Line, bottle: Bottle) -> None:
        concentrate, water = (line.value(name) for name in AMOUNTS)
        if bottle.role != Bottle.Role.STANDARD:
            at = AMOUNTS[0] if concentrate is not None else AMOUNTS[1]
            line.tell(at, "not_a_standard", f"{bottle.label} is no standard; it has no recipe.",
                      "Empty the cell.")  # fmt: skip
            return
        for name, value in zip(AMOUNTS, (concentrate, water), strict=True):
            if value is None:
                if not line.typed(name):  # else it was told where it was read
                    line.tell(name, "missing_amount", f"Of {bottle.label} only one of the two "
                              "amounts stands here.",
                              "Write both as really measured.")  # fmt: skip
                return
        if concentrate.unit != water.unit:
            line.tell(AMOUNTS[1], "mixed_basis", f"One amount is in {concentrate.unit} and the "
                      f"other in {water.unit}.", "Measure a standard by volume or weigh "
                      "it.")  # fmt: skip
            return
        pair = MASSES if concentrate.unit == UNIT[MASSES] else VOLUMES
        first, second = (
            digits_of(value.number, line.typed(name))
            for name, value in zip(AMOUNTS, (concentrate, water), strict=True)
        )
        made = Made(bottle, pair, (first, second), line.row)
        before = self._made.setdefault(bottle.pk, made)
        if (before.pair, before.texts) != (made.pair, made.texts):
            line.tell(AMOUNTS[0], "other_amount", f"Row {before.row} has {_words(before)} in "
                      f"{bottle.label}, and this one {_words(made)}.",
                      "Correct one of them.")  # fmt: skip
        there = typed(bottle, pair)
        if any(there) and there != made.texts:
            line.tell(AMOUNTS[0], "there_already", f"{bottle.label} has {there[0]} and {there[1]} "
                      f"{UNIT[pair]} written on the bench.",
                      "Correct the one that is wrong.")  # fmt: skip

    def _of_bench(self, line: Line, name: str) -> None:
        value = line.value(name)
        if value is None or value == "":
            return
        text = str(value)
        if isinstance(value, Amount):
            text = as_typed(digits_of(value.number, line.typed(name)), value.unit)
        elif name == "density_at":
            text = as_typed(digits_of(value, line.typed(name)), "°C")
        before, row = self._said.setdefault(name, (text, line.row))
        if before != text:
            line.tell(name, "other_density", f"Row {row} says {before}: the standards of a bench "
                      "are of one liquid.", "Correct one of them.")  # fmt: skip
        there = merge.shown(self._bench, name)
        if there and there != text:
            line.tell(name, "there_already", f"The bench has {there} already.",
                      "Correct the one that is wrong.")  # fmt: skip

    def try_out(self, actor: Actor, told: Told) -> None:
        """What bottles and bench would refuse is found by trying, and all that is undone."""
        if not self._made and not self._said:
            return
        with transaction.atomic():
            for made in self._made.values():
                with self._telling(told, made.row, dict(zip(made.pair, AMOUNTS, strict=True))):
                    self._pour(actor, made)
            form = self._form()
            for name, errors in form.errors.as_data().items():
                said = self._said.get(name, ("", 0))[1]
                for sentence in (text for error in errors for text in error.messages):
                    self._told(told, said, name, "density", sentence)
            if form.is_valid():
                first = min((row for _, row in self._said.values()), default=0)
                with self._telling(told, first, {name: name for name in DENSITY}):
                    self._note(actor, form)
            transaction.set_rollback(True)

    @contextmanager
    def _telling(self, told: Told, row: int, names: Mapping[str, str]) -> Iterator[None]:
        try:
            with transaction.atomic():
                yield
        except ItmError as error:
            place = error.place if isinstance(error, Refused) else ""
            name = names.get(place, next(iter(names.values())))
            self._told(told, row, name, error.code, error.sentence)

    def _told(self, told: Told, row: int, name: str, code: str, sentence: str) -> None:
        told.add(CellProblem(row, self._columns.get(name), code, sentence))

    def write(self, actor: Actor) -> Filled:
        """What was empty and is filled now, by bottle and bench. Raises what the services raise."""
        out: Filled = {}
        for made in self._made.values():
            if typed(made.bottle, made.pair) != made.texts:
                self._pour(actor, made)
                out[str(made.bottle.key)] = dict(zip(made.pair, made.texts, strict=True))
        form = self._form()
        if form.fields and form.is_valid():
            bench = self._note(actor, form)
            out[str(bench.key)] = {
                name: text
                for name in form.fields
                if not merge.shown(self._bench, name) and (text := merge.shown(bench, name))
            }
        return {key: held for key, held in out.items() if held}

    def _pour(self, actor: Actor, made: Made) -> None:
        pouring.set_amounts(actor=actor, bottle=made.bottle, pair=made.pair, entered=made.texts)

    def _note(self, actor: Actor, form: BenchForm) -> Bench:
        return services.change_bench(actor=actor, bench=self._bench, **form.cleaned_data)

    def _form(self) -> BenchForm:
        """Of what the table says alone; grams say how the standards of this bench are made, where
        nobody has said it yet."""
        texts = {name: text for name, (text, _) in self._said.items()}
        weighed = any(made.pair == MASSES for made in self._made.values())
        if weighed and not self._bench.standards_by:
            texts["standards_by"] = Bench.StandardsBy.MASS.value
        return bench_form(self._bench, texts)


def bench_form(bench: Bench, texts: Mapping[str, str]) -> BenchForm:
    form = BenchForm({}, row=bench)
    for name in set(form.fields) - set(texts):
        del form.fields[name]
    data: dict[str, str] = {}
    for name, field in form.fields.items():
        if units := getattr(field, "units", None):
            data[name], data[f"{name}_unit"] = apart(texts[name], units)
        else:
            data[name] = texts[name]
    form.data, form.is_bound = data, True
    return form


def _words(made: Made) -> str:
    return f"{made.texts[0]} and {made.texts[1]} {UNIT[made.pair]}"


def take_back(*, actor: Actor, bench: Bench, filled: Filled) -> None:
    """Empty what a table filled and nobody changed since. Raises what the services raise."""
    for bottle in bench.bottles.in_use().filter(key__in=filled):
        held = filled[str(bottle.key)]
        pair = VOLUMES if VOLUMES[0] in held else MASSES
        if typed(bottle, pair) == tuple(held[name] for name in pair):
            pouring.set_amounts(actor=actor, bottle=bottle, pair=pair, entered=("", ""))
    said = filled.get(str(bench.key), {})
    same = {name for name, text in said.items() if merge.shown(bench, name) == text}
    if same:
        form = bench_form(bench, dict.fromkeys(same, ""))
        if form.is_valid():
            services.change_bench(actor=actor, bench=bench, **form.cleaned_data)
