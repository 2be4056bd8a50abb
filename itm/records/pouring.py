"""What really went into a standard, by volume or by mass, as typed."""

import re
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from itm.accounts.actor import Actor
from itm.core.errors import Refused
from itm.core.quantities import parse_decimal
from itm.records.bench import require_open
from itm.records.merge import Crossed
from itm.records.models import Bottle
from itm.records.weighing import MASSES, VOLUMES, typed

MOST = Decimal(100_000)  # mL or g: one standard of 100 L, far beyond any bench
LIQUIDS = ("concentrate", "water")


@dataclass(frozen=True)
class Measure:
    """One way to measure out a standard; `other` finds amounts that were measured the other way."""

    names: tuple[str, str]
    others: tuple[str, str]
    word: str
    unit: str
    finest: Decimal
    other: re.Pattern[str]
    other_code: str
    other_sentence: str


VOLUME = Measure(
    VOLUMES, MASSES, "volume", "mL", Decimal("0.001"),
    re.compile(r"[\d.,\s]+(g|kg|mg|gr|grams?|oz|lb)\.?", re.IGNORECASE), "mass_not_volume",
    "is a mass, and percent here is of volumes: without the density it is none. Divide by the "
    "density of that liquid at its temperature (6.30 g at 1.05 g/mL are 6.00 mL) and write mL; or "
    "say on the bench that its standards are weighed, with that density, and write grams.",
)  # fmt: skip
MASS = Measure(
    MASSES, VOLUMES, "mass", "g", Decimal("0.0001"),
    re.compile(r"[\d.,\s]+(m?l|ml|cm3|cm³|cc|fl\.? ?oz)\.?", re.IGNORECASE), "volume_not_mass",
    "is a volume, and this standard is weighed: write grams, or say on the bench that standards "
    "are measured by volume and write both volumes.",
)  # fmt: skip


@transaction.atomic
def set_volumes(
    *, actor: Actor, bottle: Bottle, concentrate_ml_typed: str, water_ml_typed: str,
    opened: tuple[str, str] | None = None,
) -> Bottle:  # fmt: skip
    """What was really poured into a standard, in mL as typed; both empty takes them back.

    `opened` is the pair that the page showed: left as it was it changes nothing, and changed by
    two people at once it is a Crossed conflict. May run twice.
    Raises Forbidden; Crossed; Refused not_draft, not_a_standard, withdrawn, not_a_number,
    mass_not_volume, mixed_basis, out_of_range, too_fine, missing_volume, nothing_mixed. `place`:
    concentrate_ml or water_ml.
    """
    entered = (concentrate_ml_typed, water_ml_typed)
    return set_amounts(actor=actor, bottle=bottle, pair=VOLUMES, entered=entered, opened=opened)


@transaction.atomic
def set_masses(
    *, actor: Actor, bottle: Bottle, concentrate_g_typed: str, water_g_typed: str,
    opened: tuple[str, str] | None = None,
) -> Bottle:  # fmt: skip
    """What was really weighed into a standard, in g as typed; both empty takes them back.

    As `set_volumes`, with volume_not_mass, missing_mass. `place`: concentrate_g or water_g.
    """
    entered = (concentrate_g_typed, water_g_typed)
    return set_amounts(actor=actor, bottle=bottle, pair=MASSES, entered=entered, opened=opened)


@transaction.atomic
def set_amounts(
    *, actor: Actor, bottle: Bottle, pair: tuple[str, str], entered: tuple[str, str],
    opened: tuple[str, str] | None = None,
) -> Bottle:  # fmt: skip
    """As `set_volumes` or `set_masses`, by the pair of columns."""
    by = VOLUME if pair == VOLUMES else MASS
    require_open(actor, bottle.bench, bottle)
    if bottle.role != Bottle.Role.STANDARD:
        raise Refused("not_a_standard", f"{bottle.label} is no standard; it has no recipe.")
    wanted = (entered[0].strip(), entered[1].strip())
    bottle = Bottle.objects.get(pk=bottle.pk)
    now = typed(bottle, by.names)
    if wanted in (now, opened):
        return bottle
    if opened is not None and now != opened:
        raise Crossed(_crossed(now, by), dict(zip(by.names, now, strict=True)))
    if any(wanted):
        _require_one_way(bottle, by)
        values = [
            _amount(text, name, what, by)
            for text, name, what in zip(wanted, by.names, LIQUIDS, strict=True)
        ]
        if not any(values):
            raise Refused(
                "nothing_mixed",
                f"Both are 0 {by.unit}; write what went into this standard.",
                by.names[0],
            )
    for name, text, value in zip(by.names, wanted, values if any(wanted) else NOTHING, strict=True):
        setattr(bottle, name, value)
        setattr(bottle, f"{name}_typed", text)
    bottle.save(by=actor)
    return bottle


NOTHING = (None, None)


def _require_one_way(bottle: Bottle, by: Measure) -> None:
    """Half by volume and half by mass is a percent of neither."""
    there = typed(bottle, by.others)
    if any(there):
        unit = MASS.unit if by is VOLUME else VOLUME.unit
        raise Refused(
            "mixed_basis",
            f"{bottle.label} has {there[0]} and {there[1]} {unit} written already: one standard is "
            "measured by volume or weighed, not both. Take those back first (both empty).",
            by.names[0],
        )


def _crossed(now: tuple[str, str], by: Measure) -> dict[str, str]:
    concentrate, water = (f"{text} {by.unit}" if text else "nothing" for text in now)
    return {
        by.names[0]: f"Somebody else wrote {concentrate} of concentrate and {water} of water "
        "here while your page was open. Nothing was overwritten: save again to put yours in "
        "its place."
    }


def _amount(text: str, place: str, what: str, by: Measure) -> Decimal:
    named = f"{what} {by.word}"
    if not text:
        raise Refused(
            f"missing_{by.word}",
            f"The {named} is missing; write both as really measured, in {by.unit}.",
            place,
        )
    if by.other.fullmatch(text):
        raise Refused(by.other_code, f"{text} {by.other_sentence}", place)
    value = parse_decimal(text, place=place, what=f"The {named}")
    if not 0 <= value <= MOST:
        raise Refused(
            "out_of_range", f"The {named} is {text} {by.unit}; write 0 {by.unit} or more.", place
        )
    if value != value.quantize(by.finest):
        raise Refused(
            "too_fine",
            f"The {named} has digits below {by.finest} {by.unit}; leave those out.",
            place,
        )
    return value
