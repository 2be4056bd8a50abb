"""What a tank holds on a date: the mixture by volume that its movements leave.

Pure: rows in, figures out, no query. Water that came in by itself is on no movement, so this is
the book and not the tank; a concentrate check says what stands there.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import NamedTuple, TypeVar

from calc.concentrate import mixture_baseline
from calc.units import VOLUME
from itm.core.figures import day, thin
from itm.core.quantities import apart
from itm.registry.models import ConcentrateLot, Tank, TankMovement

T = TypeVar("T")
Kind, Pfas = TankMovement.Kind, ConcentrateLot.Pfas
NOTHING = 1e-9  # share of the capacity that is dust of the arithmetic and no concentrate
DIGITS = 4  # of a volume that was worked out; what was typed is shown as typed

OVERLAP, OVERFLOW, SHORT, MIXED = "overlap", "over_capacity", "more_than_there", "mixed"


class Part(NamedTuple):
    """One lot in the tank."""

    lot: ConcentrateLot
    volume: float  # m³
    share: float  # of 1


class Mixing(NamedTuple):
    """What was put together by leave of somebody who answers for it."""

    movement: TankMovement
    what: str  # AFFF with AR-AFFF

    @property
    def sentence(self) -> str:
        leave = self.movement
        return (
            f"Mixed on {day(leave.moved_on)}: {self.what}. {leave.allowed_by} answers for it: "
            f"{leave.allowed_because}"
        ).rstrip(".") + "."


class Problem(NamedTuple):
    """What cannot have been, or is not allowed without a name. `excess` in m³, where it has one."""

    code: str
    movement: TankMovement
    sentence: str
    excess: float = 0.0


@dataclass(frozen=True)
class Contents:
    """What stands in the tank, largest share first, since it was last empty."""

    volumes: tuple[tuple[ConcentrateLot, float], ...] = ()
    noted: bool = False  # whether anything was ever noted: an unknown tank is not an empty one
    problems: tuple[Problem, ...] = ()  # of the present contents
    mixings: tuple[Mixing, ...] = ()
    before: str = ""  # the worst PFAS status that stood here earlier and was emptied out
    cleaning: TankMovement | None = None  # the drain after it that says how it was cleaned

    @property
    def volume(self) -> float:
        return math.fsum(volume for _, volume in self.volumes)

    @property
    def parts(self) -> list[Part]:
        total = self.volume
        parts = [Part(lot, volume, volume / total) for lot, volume in self.volumes]
        return sorted(parts, key=lambda part: (-part.volume, str(part.lot)))

    @property
    def kind(self) -> str | None:
        """The type of concentrate; none where several stand together, or nothing."""
        return _only({lot.get_kind_display() for lot, _ in self.volumes})

    @property
    def nominal_percent(self) -> Decimal | None:
        return _only({lot.nominal_percent for lot, _ in self.volumes})

    @property
    def products(self) -> list[str]:
        return sorted({lot.product for lot, _ in self.volumes})

    @property
    def pfas(self) -> str:
        """The worst of the lots: one that holds PFAS makes the tank hold it."""
        return _worst(lot.pfas for lot, _ in self.volumes)

    @property
    def refractive_index(self) -> float | None:
        return self._mixed("refractive_index")

    @property
    def density(self) -> float | None:
        """kg/m³ at 20 °C."""
        return self._mixed("density")

    @property
    def ph(self) -> float | None:
        """Of a single lot only: pH does not mix by volume."""
        lot = self.volumes[0][0] if len(self.volumes) == 1 else None
        return None if lot is None or lot.ph is None else float(lot.ph)

    @property
    def remarks(self) -> list[str]:
        """What stays with the tank, its lots and its tests while this stands in it."""
        return [*(p.sentence for p in self.problems), *(m.sentence for m in self.mixings)]

    def _mixed(self, name: str) -> float | None:
        """By volume, where the certificate of every lot in the tank gives it."""
        values = [getattr(lot, name) for lot, _ in self.volumes]
        if not values or None in values:
            return None
        return mixture_baseline(
            [volume for _, volume in self.volumes], [float(value) for value in values]
        ).value


@dataclass(frozen=True)
class Line:
    """One movement with what the tank held before and after it."""

    movement: TankMovement
    held: Contents
    holds: Contents
    problems: tuple[Problem, ...] = field(default=())


def ledger(tank: Tank, movements: Iterable[TankMovement]) -> list[Line]:
    """The tank's book in the order of the days. Movements that were withdrawn count for nothing."""
    lines: list[Line] = []
    holds = Contents()
    for movement in sorted((m for m in movements if m.withdrawn_at is None), key=_order):
        held = holds
        problems = tuple(_problems(tank, held, movement))
        holds = _after(tank, held, movement, problems)
        lines.append(Line(movement, held, holds, problems))
    return lines


def contents(tank: Tank, movements: Iterable[TankMovement], on: date) -> Contents:
    """At the end of that day."""
    return as_of(ledger(tank, movements), on)


def as_of(lines: Sequence[Line], on: date) -> Contents:
    """The same from a ledger that is already there."""
    until = [line.holds for line in lines if line.movement.moved_on <= on]
    return until[-1] if until else Contents()


def differences(held: Contents, lot: ConcentrateLot) -> list[str]:
    """Why this lot may not go onto what is there without somebody who answers for it."""
    out = []
    there = {other.get_kind_display() for other, _ in held.volumes} - {lot.get_kind_display()}
    if there:
        out.append(f"{_list(there)} with {lot.get_kind_display()}")
    nominals = {other.nominal_percent for other, _ in held.volumes} - {lot.nominal_percent}
    if nominals:
        out.append(f"{_list(map(bare, nominals))} % with {bare(lot.nominal_percent)} %")
    if {held.pfas, lot.pfas} == {Pfas.FREE, Pfas.CONTAINS}:
        out.append("fluorine-free concentrate with one that contains PFAS")
    return out


def _problems(tank: Tank, held: Contents, movement: TankMovement) -> Iterable[Problem]:
    on, there = day(movement.moved_on), amount(held.volume, tank.capacity_typed)
    dust = NOTHING * tank.capacity
    volume = movement.volume or 0.0
    if movement.kind == Kind.FILL and held.volumes:
        yield Problem(
            OVERLAP,
            movement,
            f"On {on} {tank} still held {there} by what is noted, and a fill goes into an empty "
            "tank: note it as a top-up, or note the drain before it.",
        )
    over = held.volume + volume - tank.capacity if movement.goes_in else 0.0
    if over > dust:
        yield Problem(
            OVERFLOW,
            movement,
            f"On {on} {tank} held {there} by what is noted, and with {movement.volume_typed} more "
            f"it would hold more than its capacity of {tank.capacity_typed}: note what came out "
            "before it.",
            over,
        )
    short = volume - held.volume if movement.kind == Kind.DRAW_OFF else 0.0
    if short > dust:
        yield Problem(
            SHORT,
            movement,
            f"On {on} {tank} held {there} by what is noted, so {movement.volume_typed} cannot have "
            "come out of it.",
            short,
        )
    reasons = differences(held, movement.lot) if movement.goes_in and movement.lot else []
    if reasons and not movement.allowed_by:
        yield Problem(
            MIXED,
            movement,
            f"On {on} this puts together {_list(reasons)} in {tank}. That is refused unless "
            "somebody who may decide it answers for it: name the person and the reason, or note "
            "the drain before it.",
        )


def _after(
    tank: Tank, held: Contents, movement: TankMovement, problems: tuple[Problem, ...]
) -> Contents:
    if movement.kind == Kind.DRAIN:
        return _emptied(held, movement)
    now = replace(held, noted=True, problems=(*held.problems, *problems))
    if movement.goes_in and movement.lot is not None:
        volumes = {lot.key: (lot, volume) for lot, volume in held.volumes}
        lot, there = volumes.get(movement.lot.key, (movement.lot, 0.0))
        volumes[lot.key] = (lot, there + (movement.volume or 0.0))
        mixings = held.mixings
        if movement.allowed_by and (reasons := differences(held, movement.lot)):
            mixings = (*mixings, Mixing(movement, _list(reasons)))
        return replace(now, volumes=tuple(volumes.values()), mixings=mixings)
    left = held.volume - (movement.volume or 0.0)
    if left <= NOTHING * tank.capacity:
        return _emptied(held, movement)
    kept = left / held.volume
    return replace(now, volumes=tuple((lot, volume * kept) for lot, volume in held.volumes))


def _emptied(held: Contents, movement: TankMovement) -> Contents:
    """A cleaning counts until something with PFAS, or of which that is not known, stood here."""
    kept = held.cleaning if held.pfas in ("", Pfas.FREE) else None
    return Contents(
        noted=True,
        before=_worst([held.pfas, held.before]),
        cleaning=movement if movement.cleaned else kept,
    )


def _order(movement: TankMovement) -> tuple[date, int, float]:
    return movement.moved_on, movement.position, movement.pk or math.inf


def _only(values: set[T]) -> T | None:
    return next(iter(values)) if len(values) == 1 else None


def _worst(statuses: Iterable[str]) -> str:
    found = set(statuses)
    return next((s for s in (Pfas.CONTAINS, Pfas.UNKNOWN, Pfas.FREE) if s in found), "")


# In words -----------------------------------------------------------------------------------------


def amount(volume: float, like: str, *, digits: int = DIGITS) -> str:
    """A volume in the unit of a typed one, for example of the tank's capacity."""
    unit = apart(like, VOLUME)[1] or "L"
    number = volume / VOLUME[unit]
    decimals = max(0, digits - 1 - math.floor(math.log10(number))) if number > 0 else 0
    text = f"{number:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{thin(text)} {unit}"


def pfas_words(held: Contents) -> str:
    """The status of the tank: a fluorine-free fill on residue is not free of PFAS."""
    if held.pfas in (Pfas.CONTAINS, Pfas.UNKNOWN):
        return str(Pfas(held.pfas).label)
    now = str(Pfas.FREE.label) if held.volumes else "Empty" if held.noted else "Nothing noted"
    if held.before not in (Pfas.CONTAINS, Pfas.UNKNOWN):
        return now
    earlier = "PFAS" if held.before == Pfas.CONTAINS else "concentrate whose PFAS is not known"
    if held.cleaning is None:
        return f"{now}, in a tank that held {earlier}: no cleaning noted"
    drain = held.cleaning
    rinsed = f", {words}" if (words := rinse_words(drain)) else ""
    found = "no analysis of what is left"
    if drain.residue_mg_l is not None:
        found = f"{bare(drain.residue_mg_l)} mg/L of PFAS found then"
    return f"{now}, in a tank that held {earlier}: cleaned {day(drain.moved_on)}{rinsed}, {found}"


def rinse_words(drain: TankMovement) -> str:
    """How often it was rinsed and with how much water, as far as that is noted."""
    out = []
    if drain.rinses:
        out.append("1 rinse" if drain.rinses == 1 else f"{drain.rinses} rinses")
    if drain.rinse_volume_typed:
        out.append(f"{drain.rinse_volume_typed} of rinse water")
    return ", ".join(out)


def bare(number: Decimal) -> str:
    return f"{number.normalize():f}"


def _list(words: Iterable[str]) -> str:
    return " and ".join(sorted(words))
