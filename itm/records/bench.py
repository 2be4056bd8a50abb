"""Writes on the bench: bottles, readings, and what is set aside.

A reading is never edited. A suspect one is repeated beside it and set aside with its reason; both
stay. Every write here refuses `not_draft` once what it touches was handed in or sealed.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from calc.standards import suggested_percents
from itm.accounts.actor import Actor
from itm.core.errors import Conflict, Refused
from itm.core.quantities import parse_decimal
from itm.records import merge
from itm.records.drafts import new_key, on_bench, require_crew
from itm.records.models import Bench, Bottle, ProportioningTest, Reading
from itm.records.weighing import require_density

CLOSED = (ProportioningTest.State.HANDED_IN, ProportioningTest.State.SEALED)
# The concentrate stands last: what is read after it may carry traces of it. The water once more
# comes right before it, so that it shows whether meter or temperature moved in between.
SHARED = (
    (Bottle.Role.WATER, "water", 0),
    (Bottle.Role.WATER_AGAIN, "water again", 997),
    (Bottle.Role.CONCENTRATE, "concentrate", 999),
)


@transaction.atomic
def set_out(*, actor: Actor, test: ProportioningTest, standards: bool = True) -> list[Bottle]:
    """Water, the same once more, undiluted concentrate, and the usual standards. May run twice.

    Without `standards` none is made, because others will be added. Returns the bottles that were
    missing. Raises Forbidden; Refused not_draft, no_bench.
    """
    bench = on_bench(test)
    require_open(actor, bench)
    planned = [one for one in to_set_out(test) if standards or one.target_percent is None]
    return [_bottle(actor, bench, one) for one in planned]


def to_set_out(test: ProportioningTest) -> list["Planned"]:
    """What is missing of a usual bench. Every device works out the same keys from that of the
    bench, so two that set it out with no signal mean the same bottles."""
    bench = on_bench(test)
    there = list(bench.bottles.all())
    roles = {bottle.role for bottle in there}
    planned = [
        Planned(shared_key(bench, role), role, label, position)
        for role, label, position in SHARED
        if role not in roles
    ]
    standards = [bottle for bottle in there if bottle.role == Bottle.Role.STANDARD]
    if not all(bottle.withdrawn_reason for bottle in standards):
        return planned
    last = max((bottle.position for bottle in standards), default=0)
    percents = suggested_percents(test.nominal_percent)
    return planned + [
        _standard(bench, number, Decimal(str(percent)))
        for number, percent in enumerate(percents, start=last + 1)
    ]


@dataclass(frozen=True)
class Planned:
    """A bottle before it stands on the bench."""

    key: uuid.UUID
    role: str
    label: str
    position: int
    target_percent: Decimal | None = None


def shared_key(bench: Bench, what: str) -> uuid.UUID:
    """The key that a bottle of this bench has wherever it is set out."""
    return uuid.uuid5(bench.key, what)


def _standard(
    bench: Bench, number: int, target_percent: Decimal, key: uuid.UUID | None = None
) -> Planned:
    label = f"S{number}"
    return Planned(
        key or shared_key(bench, label), Bottle.Role.STANDARD, label, number, target_percent
    )


@transaction.atomic
def change_bench(
    *, actor: Actor, bench: Bench, opened: Mapping[str, str] | None = None, **entered: Any
) -> Bench:
    """Change what BenchForm holds, as long as nothing that rests on it is handed in.

    Instrument and lot stay: they decide the method, and with another one it is another bench.
    `opened` holds what the form showed. Raises Forbidden; Crossed; Refused not_draft, density,
    density_at, density_error.
    """
    require_open(actor, bench)
    require_density(entered)
    row = Bench.objects.select_for_update().get(pk=bench.pk)
    merge.put(row, entered, opened)
    row.save(by=actor)
    return row


@transaction.atomic
def add_system_water(*, actor: Actor, bench: Bench) -> Bottle:
    """The water that went through the system, where the standards were made with another.

    May run twice. Raises Forbidden; Refused not_draft.
    """
    require_open(actor, bench)
    role = Bottle.Role.SYSTEM_WATER
    there = bench.bottles.filter(role=role).first()
    planned = Planned(shared_key(bench, role), role, "system water", 998)
    return there or _bottle(actor, bench, planned)


@transaction.atomic
def add_standard(
    *, actor: Actor, bench: Bench, target_percent: Decimal, key: uuid.UUID | None = None,
    label: str = "",
) -> Bottle:  # fmt: skip
    """One more known mixture. Two of the same percent are allowed: a repeat is a second bottle.

    `label` is what a crew without signal wrote on the glass; without one the next number is given.
    Raises Forbidden; Refused not_draft, out_of_range, key_used, label_used.
    """
    require_open(actor, bench)
    label = label.strip()
    if not 0 < target_percent <= 100:
        raise Refused(
            "out_of_range",
            f"A standard of {target_percent} % cannot be made; write a percent above 0, at most "
            "100. Water and undiluted concentrate have bottles of their own.",
            "target_percent",
        )
    standards = bench.bottles.filter(role=Bottle.Role.STANDARD)
    number = (standards.aggregate(last=Max("position"))["last"] or 0) + 1
    if label and bench.bottles.filter(label=label).exists():
        raise Refused(
            "label_used",
            f"Another bottle of this bench is labelled {label}: somebody else made one meanwhile. "
            f"Write S{number} on yours, and here; what is read of it goes with it.",
            "label",
        )
    planned = _standard(bench, number, target_percent, new_key(Bottle, key))
    return _bottle(actor, bench, replace(planned, label=label or planned.label))


@transaction.atomic
def withdraw_standard(
    *, actor: Actor, bottle: Bottle, reason: str, seen: Mapping[str, str] | None = None
) -> Bottle:
    """A standard that is not used after all; its row and label stay. May run twice.

    `seen` holds another reason that the person saw and replaces. Raises Forbidden; Crossed; Refused
    not_draft, not_a_standard, has_readings, reason_missing.
    """
    require_open(actor, bottle.bench)
    row = Bottle.objects.get(pk=bottle.pk)
    if row.role != Bottle.Role.STANDARD:
        raise Refused("not_a_standard", f"{row.label} is no standard and stays on the bench.")
    if row.readings.exists():
        raise Refused(
            "has_readings",
            f"{row.label} has readings. Set those aside with a reason; the bottle stays.",
        )
    if not reason.strip():
        raise Refused("reason_missing", f"Say why {row.label} is withdrawn.", "reason")
    merge.say(row, "withdrawn_reason", reason.strip(), seen)
    row.save(by=actor, verb="withdrawn")
    return row


@transaction.atomic
def add_reading(
    *, actor: Actor, bottle: Bottle, value_typed: str, temperature_typed: str, at: datetime,
    key: uuid.UUID | None = None,
) -> Reading:  # fmt: skip
    """One more reading of this bottle, after all others of the bench.

    The value itself was judged at the door (intake.check). `key` is the client's own key of this
    reading: with it this may run twice and gives the first reading back.
    Raises Forbidden; Conflict; Refused not_draft, not_a_number.
    """
    require_open(actor, bottle.bench, bottle)
    value_typed, temperature_typed = value_typed.strip(), temperature_typed.strip()
    if key is not None and (first := Reading.objects.filter(key=key).first()):
        typed = (first.bottle_id, first.value_typed, first.temperature_typed)
        if typed != (bottle.pk, value_typed, temperature_typed):
            raise Conflict(
                f"This entry is already saved as {first.value_typed}. A reading is never changed: "
                "save the other one as a new reading."
            )
        return first
    last = Reading.objects.filter(bottle__bench=bottle.bench).aggregate(last=Max("sequence"))
    return Reading.objects.create(
        by=actor,
        key=key or uuid.uuid4(),
        bottle=bottle,
        sequence=(last["last"] or 0) + 1,
        value_typed=value_typed,
        value=parse_decimal(value_typed, place="value", what="This reading"),
        temperature_typed=temperature_typed,
        temperature_c=(
            parse_decimal(temperature_typed, place="temperature", what="This temperature")
            if temperature_typed
            else None
        ),
        read_at=at,
        read_by=actor.person,
    )


@transaction.atomic
def set_aside(
    *, actor: Actor, reading: Reading, reason: str, at: datetime,
    seen: Mapping[str, str] | None = None,
) -> Reading:  # fmt: skip
    """Out of the fit, but kept and shown with its reason. May run twice.

    `seen` holds another reason that the person saw and replaces. Raises Forbidden; Crossed; Refused
    not_draft, reason_missing.
    """
    require_open(actor, reading.bottle.bench, reading.bottle)
    reading.refresh_from_db()
    if reading.set_aside_reason == reason.strip() != "":
        return reading
    if not reason.strip():
        raise Refused(
            "reason_missing",
            "Say why this reading is set aside, for example “bubble on the prism”.",
            "reason",
        )
    merge.say(reading, "set_aside_reason", reason.strip(), seen)
    reading.set_aside_at, reading.set_aside_by = at, actor.person
    reading.save(by=actor, verb="set_aside", text=reason.strip())
    return reading


@transaction.atomic
def take_back_aside(
    *, actor: Actor, reading: Reading, seen: Mapping[str, str] | None = None
) -> Reading:
    """Back into the fit; the history keeps that it was out. May run twice.

    `seen` is the reason that the person saw. Raises Forbidden; Refused not_draft; Crossed.
    """
    require_open(actor, reading.bottle.bench, reading.bottle)
    reading.refresh_from_db()
    merge.require_seen(reading, seen, "set_aside_reason")
    if reading.set_aside_at is None:
        return reading
    reading.set_aside_reason, reading.set_aside_by, reading.set_aside_at = "", "", None
    reading.save(by=actor, verb="taken_back")
    return reading


def require_open(actor: Actor, bench: Bench, bottle: Bottle | None = None) -> None:
    """Refuses writes by strangers, and on what a handed-in or sealed test rests on.

    A sample belongs to its own test. Water, standards and concentrate belong to all tests of the
    bench, so one that was handed in closes them for the others too. Locks those tests, so that a
    hand-in at the same moment comes before or after, never in between.
    """
    require_crew(actor, bench.visit)
    if bottle is not None and bottle.withdrawn_reason:
        raise Refused(
            "withdrawn",
            f"{bottle.label} was withdrawn ({bottle.withdrawn_reason}); read another bottle.",
        )
    if bottle is not None and bottle.run_id is not None:
        own = ProportioningTest.objects.select_for_update().get(runs=bottle.run_id)
        if own.state != ProportioningTest.State.DRAFT:
            raise Refused("not_draft", why_closed(own, own=True))
        return
    tests = list(bench.tests.select_for_update().order_by("pk"))
    for test in tests:
        if test.state in CLOSED:
            raise Refused("not_draft", why_closed(test, own=False))
    if tests and all(test.state == ProportioningTest.State.ABANDONED for test in tests):
        raise Refused("not_draft", why_closed(tests[-1], own=True))
    if bench.sealed_at is not None:
        raise Refused("not_draft", "This bench is sealed; open a new bench for new readings.")


def why_closed(test: ProportioningTest, *, own: bool) -> str:
    """Why nothing can be written here any more, and what would be right."""
    state = ProportioningTest.State(test.state).label
    if own:
        way = {
            ProportioningTest.State.HANDED_IN: "have it sent back first",
            ProportioningTest.State.SEALED: "amend it by a new record",
        }.get(ProportioningTest.State(test.state), "prepare a new test")
        return f"This test is {state}, so its readings stand as they are; {way}."
    return (
        f"The test of {test.proportioner.tag} ({test.get_phase_display()}) rests on this water, "
        f"these standards and this concentrate and is {state}; have it sent back, or open a new "
        "bench."
    )


def _bottle(actor: Actor, bench: Bench, planned: Planned) -> Bottle:
    taken = set(bench.bottles.values_list("label", flat=True))
    label = planned.label
    free = (name for name in (label, *(f"{label}-{n}" for n in range(2, 1000))))
    name = next(name for name in free if name not in taken)
    return Bottle.objects.create(by=actor, bench=bench, **{**vars(planned), "label": name})
